"""No page of ours calls anybody else, and none has script or style inside it."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
STATIC = sorted(
    file
    for file in (ROOT / "registry" / "static").rglob("*")
    if file.suffix in {".css", ".js", ".svg", ".html", ".webmanifest"}
)

# Names of XML vocabularies: nothing is fetched from them.
_VOCABULARIES = ("http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink")
_ELSEWHERE = re.compile(r"""(?:https?:)?//[\w.-]+\.\w+[^\s"'<>)]*""")
_COMMENTS = re.compile(r"{#.*?#}|{% comment.*?endcomment %}|<!--.*?-->|/\*.*?\*/", re.DOTALL)


def _names(files: list[Path]) -> list[str]:
    return [str(file.relative_to(ROOT)) for file in files]


def _text(name: str) -> str:
    """Return a file's text without its comments and without names of XML vocabularies."""
    text = _COMMENTS.sub("", (ROOT / name).read_text(encoding="utf-8"))
    for vocabulary in _VOCABULARIES:
        text = text.replace(vocabulary, "")
    return text


def test_there_is_something_to_read() -> None:
    assert TEMPLATES
    assert STATIC


@pytest.mark.parametrize("name", _names([*TEMPLATES, *STATIC]))
def test_no_address_of_another_site_is_in(name: str) -> None:
    assert _ELSEWHERE.findall(_text(name)) == []


@pytest.mark.parametrize("name", _names(TEMPLATES))
class TestTemplates:
    def test_it_has_no_inline_style(self, name: str) -> None:
        assert re.findall(r"<style\b|\sstyle\s*=", _text(name)) == []

    def test_it_has_no_inline_script(self, name: str) -> None:
        inline = [
            tag
            for tag in re.findall(r"<script\b[^>]*>", _text(name))
            if "src=" not in tag and 'type="application/json"' not in tag
        ]

        assert inline == []
        assert re.findall(r"\son[a-z]+\s*=\s*[\"']", _text(name)) == []

    def test_it_switches_no_escaping_off(self, name: str) -> None:
        assert re.findall(r"\|\s*safe\b|autoescape\s+off", _text(name)) == []
