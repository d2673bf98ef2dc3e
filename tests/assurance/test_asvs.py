"""The table of ASVS 5.0.0 level 2 is whole and true: every requirement once, every test and file
there, every gap with its reason, and the counts at the top those of the lines."""

from __future__ import annotations

import ast
import json
import re
from collections import Counter
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from tests.assurance.source import ROOT

HEAD = (ROOT / "tests/assurance/asvs.md").read_text(encoding="utf-8")
CHAPTERS = sorted((ROOT / "tests/assurance/asvs").glob("V*.md"))
PUBLISHED = json.loads((ROOT / "tests/published/asvs_5_0_ids.json").read_text(encoding="utf-8"))
LEVELS: dict[str, int] = PUBLISHED["levels"]
MET = ("yes", "partly", "no", "does not apply")
LONGEST_PARAPHRASE = 15


@dataclass(frozen=True)
class Line:
    """One requirement as the table judges it."""

    id: str
    level: int
    asked: str
    met: str
    shown_by: tuple[str, ...]
    why: str

    @property
    def is_tested(self) -> bool:
        return self.met in {"yes", "partly"} and any("::" in each for each in self.shown_by)


def lines_of(chapter: Path) -> list[Line]:
    """The lines of one chapter's file."""
    found = []
    for row in chapter.read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in row.strip("|").split(" | ")]
        if row.startswith("|") and re.match(r"\d", cells[0]):
            number, level, asked, met, shown_by, why = cells
            named = tuple(re.findall(r"`([^`]+)`", shown_by))
            found.append(Line(number, int(level), asked, met, named, "" if why == "–" else why))
    return found


LINES = [line for chapter in CHAPTERS for line in lines_of(chapter)]


@cache
def names_in(name: str) -> frozenset[str]:
    """Every test of a file, as `Class::test` or `test`; none for a file that is not there."""
    file = ROOT / name
    if not file.is_file():
        return frozenset()
    found = set()
    for node in ast.parse(file.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef):
            found.add(node.name)
        elif isinstance(node, ast.ClassDef):
            inner = [each.name for each in node.body if isinstance(each, ast.FunctionDef)]
            found |= {f"{node.name}::{each}" for each in inner}
    return frozenset(each for each in found if each.split("::")[-1].startswith("test_"))


def is_there(named: str) -> bool:
    """Whether a named test or file exists."""
    file, _, test = named.partition("::")
    return test in names_in(file) if test else (ROOT / file).exists()


def test_the_published_list_has_the_standards_counts() -> None:
    # ASVS 5.0.0: 70 requirements at level 1, 183 more at level 2, 92 more at level 3.
    assert Counter(LEVELS.values()) == {1: 70, 2: 183, 3: 92}


def test_every_requirement_of_both_levels_stands_exactly_once() -> None:
    asked = [number for number, level in LEVELS.items() if level <= 2]

    assert Counter(line.id for line in LINES) == Counter(asked)
    assert len(asked) == 253


def test_each_stands_in_its_chapter_with_its_level() -> None:
    for chapter in CHAPTERS:
        for line in lines_of(chapter):
            assert line.id.split(".")[0] == str(int(chapter.stem[1:]))
            assert line.level == LEVELS[line.id]


@pytest.mark.parametrize("line", LINES, ids=lambda line: line.id)
class TestLine:
    def test_what_shows_it_is_there(self, line: Line) -> None:
        assert [named for named in line.shown_by if not is_there(named)] == []

    def test_it_is_judged_and_what_is_met_is_shown(self, line: Line) -> None:
        assert line.met in MET
        assert line.shown_by or line.met in {"no", "does not apply"}

    def test_a_gap_has_its_reason(self, line: Line) -> None:
        assert line.why or line.met == "yes"

    def test_it_is_said_shortly(self, line: Line) -> None:
        assert 1 < len(line.asked.split()) <= LONGEST_PARAPHRASE


def _counts(lines: list[Line]) -> list[int]:
    met = Counter(line.met for line in lines)
    return [len(lines), *(met[each] for each in MET), sum(line.is_tested for line in lines)]


def test_the_counts_of_the_head_are_the_lines() -> None:
    rows = re.findall(r"^\| (?:\[V(\d+)[^|]*|all) ((?:\| \d+ )+)\|$", HEAD, re.MULTILINE)
    told = {chapter: [int(number) for number in re.findall(r"\d+", row)] for chapter, row in rows}

    counted = {str(int(each.stem[1:])): _counts(lines_of(each)) for each in CHAPTERS}
    assert told == {**counted, "": _counts(LINES)}


def test_the_sentence_of_the_head_says_the_same() -> None:
    everything, yes, partly, no, apart, tested = _counts(LINES)

    assert (
        f"Of the {everything} requirements of levels 1 and 2, {yes} are met, {partly} are met in "
        f"part, {no} are not met, and {apart} do not apply."
    ) in HEAD
    assert f"{tested} are shown by an automatic test" in HEAD
    assert "Version of the standard: 5.0.0" in HEAD
    assert "by the project itself; no outside assessment" in HEAD


class TestTheLook:
    """A look that finds nothing missing has to be able to find something."""

    def test_a_renamed_test_is_missed(self) -> None:
        assert is_there("tests/assurance/test_asvs.py::TestTheLook::test_a_renamed_test_is_missed")
        assert not is_there("tests/assurance/test_asvs.py::TestTheLook::test_a_former_name")
        assert not is_there("tests/assurance/test_asvs.py::test_a_renamed_test_is_missed")

    def test_a_missing_file_is_missed(self) -> None:
        assert is_there("registry/settings.py")
        assert not is_there("registry/no_such.py")
        assert not is_there("tests/no_such.py::test_a_renamed_test_is_missed")
