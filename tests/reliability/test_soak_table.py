"""The table of a soak says what was really run: the newest of each part, and what was not run."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.reliability.record import Line, What
from tests.soak import END, START, newest_of, table, write_into


def line(what: What, part: str = "", **facts: int | str) -> Line:
    found: Line = {
        "what": what, "part": part, "database": "SQLite", "done": 10, "failures": 0,
        "day": "2026-11-25", "commit": "abc1234",
    }  # fmt: skip
    found.update(facts)  # type: ignore[typeddict-item]
    return found


def row(text: str, what: What, database: str = "SQLite") -> list[str]:
    (found,) = (
        [cell.strip() for cell in each.split("|")[1:-1]]
        for each in text.splitlines()
        if each.startswith(f"| {what} |") and f"| {database} |" in each
    )
    return found


def test_parts_are_summed_and_the_newest_line_of_a_part_counts() -> None:
    lines = [
        line(What.DAMAGES, "swapped", done=100, failures=3),
        line(What.DAMAGES, "deleted", done=1_000, commit="def5678"),
        line(What.DAMAGES, "swapped", done=100),
    ]

    found = row(table(lines), What.DAMAGES)

    assert found[1:] == [
        "1,100", "1,100", "0", "SQLite", "25 November 2026", "abc1234, def5678",
    ]  # fmt: skip


def test_the_newest_line_of_each_part_is_kept() -> None:
    old, new = line(What.KILLS, done=1), line(What.KILLS, done=2)
    other = line(What.KILLS, database="PostgreSQL", done=3)

    assert newest_of([old, other, new]) == [other, new]


def test_what_went_wrong_or_was_less_than_wanted_is_said() -> None:
    found = row(table([line(What.REPLAYS, done=500, failures=2)]), What.REPLAYS)

    assert found[2:4] == ["500 (fewer than wanted)", "**2**"]


def test_what_was_not_run_says_so() -> None:
    assert row(table([line(What.KILLS)]), What.KILLS, "PostgreSQL")[2] == "not run"
    assert row(table([]), What.FUZZED)[2] == "not run"


def test_it_is_written_between_its_marks_only(tmp_path: Path) -> None:
    file = tmp_path / "D.md"
    file.write_text(f"before\n{START}\nold\n{END}\nafter\n", encoding="utf-8")

    write_into(file, "new\n")

    assert file.read_text("utf-8") == f"before\n{START}\nnew\n{END}\nafter\n"


def test_a_file_without_marks_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "D.md"
    file.write_text("text", encoding="utf-8")

    with pytest.raises(ValueError, match="soak:start"):
        write_into(file, "new\n")
