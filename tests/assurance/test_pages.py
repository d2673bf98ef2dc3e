"""Templates and scripts: what may stand in them so that typed words stay words."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.assurance.source import ROOT

TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
SCRIPTS = sorted((ROOT / "registry" / "static").rglob("*.js"))
_COMMENTS = re.compile(r"{#.*?#}|{% comment.*?endcomment %}", re.DOTALL)
_SCRIPT_COMMENTS = re.compile(r"/\*.*?\*/|(?<!:)//[^\n]*", re.DOTALL)
# The owner's page has no cookie to protect: the signed link itself is what no other site has. And
# checking a file, or a chip, changes nothing, for nobody.
WITHOUT_FORM_TOKEN = {"buyer/owner.html", "buyer/check_file.html", "buyer/certificate.html"}


def _name(file: Path) -> str:
    return str(file.relative_to(ROOT / "templates"))


def _template(file: Path) -> str:
    return _COMMENTS.sub("", file.read_text(encoding="utf-8"))


def _script(file: Path) -> str:
    return _SCRIPT_COMMENTS.sub("", file.read_text(encoding="utf-8"))


def test_there_is_something_to_read() -> None:
    assert len(TEMPLATES) > 60
    assert SCRIPTS


@pytest.mark.parametrize("file", TEMPLATES, ids=_name)
class TestTemplate:
    def test_every_attribute_with_a_value_of_ours_is_in_quotes(self, file: Path) -> None:
        assert re.findall(r"\s[\w-]+=(?:{{|{%)[^\n]{0,40}", _template(file)) == []

    def test_no_value_is_put_into_a_script_a_style_or_a_comment(self, file: Path) -> None:
        text = _template(file)
        inside = re.findall(r"<(?:script|style)\b[^>]*>(.*?)</(?:script|style)>", text, re.DOTALL)
        inside += re.findall(r"<!--(.*?)-->", text, re.DOTALL)

        # The id of an input, which Django makes of our own field's name.
        inside = [re.sub(r"{{ form\.\w+\.auto_id }}", "", each) for each in inside]
        assert [each for each in inside if "{{" in each] == []

    def test_nothing_is_marked_as_safe(self, file: Path) -> None:
        pattern = r"\|\s*safe(?:seq)?\b|autoescape\s+off|\|\s*striptags|{%\s*filter\b"

        assert re.findall(pattern, _template(file)) == []

    def test_no_address_runs_a_script(self, file: Path) -> None:
        pattern = r"(?i)(?:href|src|action|formaction)\s*=\s*[\"']\s*(?:javascript|vbscript|data):"

        assert re.findall(pattern, _template(file)) == []

    def test_every_form_that_changes_something_has_its_token(self, file: Path) -> None:
        posts = re.findall(r"<form\b[^>]*method=\"post\".*?</form>", _template(file), re.DOTALL)
        bare = [form for form in posts if "{% csrf_token %}" not in form]

        assert bare == [] or _name(file) in WITHOUT_FORM_TOKEN

    def test_a_form_with_a_secret_is_never_sent_in_the_address(self, file: Path) -> None:
        gets = re.findall(r"<form\b[^>]*method=\"get\".*?</form>", _template(file), re.DOTALL)

        assert [form for form in gets if re.search(r"password|token|secret", form)] == []

    def test_nothing_of_a_dead_technology_is_embedded(self, file: Path) -> None:
        assert re.findall(r"<(?:object|embed|applet|frame|iframe)\b", _template(file)) == []

    def test_nothing_hinders_pasting(self, file: Path) -> None:
        assert re.findall(r"onpaste|oncopy|onbeforeinput|onkeydown", _template(file)) == []


@pytest.mark.parametrize("file", SCRIPTS, ids=lambda file: file.name)
class TestScript:
    def test_it_writes_text_and_never_markup(self, file: Path) -> None:
        pattern = (
            r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|createContextualFragment"
            r"|\beval\b|new Function|setTimeout\(\s*[\"']|DOMParser|srcdoc"
        )

        assert re.findall(pattern, _script(file)) == []

    def test_it_speaks_to_no_other_window_or_server(self, file: Path) -> None:
        pattern = r"postMessage|addEventListener\(\s*[\"']message|fetch\(|XMLHttpRequest|WebSocket"

        assert re.findall(pattern + r"|sendBeacon|EventSource|RTCPeer", _script(file)) == []

    def test_it_is_strict_and_leaves_nothing_global(self, file: Path) -> None:
        text = _script(file)

        assert '"use strict"' in text
        assert re.search(r"^\s*(?:\"use strict\";\s*)?\(", text)
        assert re.findall(r"(?<![=!])==(?!=)|!=(?!=)", text) == []
        assert re.findall(r"window\.\w+\s*=[^=]", text) == []

    def test_no_object_takes_a_name_from_outside(self, file: Path) -> None:
        """`thing[name] = …` with a name such as __proto__ would change every object."""
        written = re.findall(r"(\w+)\[(?![\"'\d])[^\]]*\](?:\.\w+)*\s*=[^=]", _script(file))

        # The axes of a figure: names that are there already, and fit /^[xy]axis/.
        assert set(written) <= {"layout"}

    def test_it_keeps_only_a_wish_in_the_browser(self, file: Path) -> None:
        text = _script(file)

        assert re.findall(r"sessionStorage|indexedDB|document\.cookie|caches\.", text) == []
        kept = set(re.findall(r"localStorage\.\w+\((\w+|\"[^\"]*\")", text))
        assert kept <= {"store"}
        if kept:
            assert re.findall(r"store = \"([^\"]+)\"", text) == ["soundline-keys"]
