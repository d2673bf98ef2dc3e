"""The lock files: complete, hashed, bound to no host, and agreeing with each other."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
LOCKS = ("requirements.lock", "requirements-run.lock")


def _pins(name: str) -> set[str]:
    """Return the pinned versions of a lock file."""
    text = (ROOT / name).read_text(encoding="utf-8")
    return set(re.findall(r"^[a-z0-9][\w.-]*==[^\s;]+", text, re.MULTILINE))


@pytest.mark.parametrize("name", LOCKS)
class TestLock:
    def test_it_names_no_host_and_no_folder(self, name: str) -> None:
        text = (ROOT / name).read_text(encoding="utf-8")

        assert re.findall(r"https?:|file:|--index|--find-links|^/|@ ", text, re.MULTILINE) == []

    def test_every_pin_has_a_hash(self, name: str) -> None:
        text = (ROOT / name).read_text(encoding="utf-8")

        entries = re.split(r"^(?=[a-z0-9])", text, flags=re.MULTILINE)[1:]

        assert len(entries) > 30
        assert all("--hash=sha256:" in entry for entry in entries)


def test_what_runs_is_what_was_tested() -> None:
    assert _pins("requirements-run.lock") < _pins("requirements.lock")


def test_the_image_brings_no_test_tools() -> None:
    names = {pin.split("==")[0] for pin in _pins("requirements-run.lock")}

    assert names.isdisjoint({"pytest", "playwright", "mypy", "ruff", "schemathesis"})
