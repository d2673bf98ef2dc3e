"""The table of the long numbers, and its place in DEVELOPERS.md between two marks.

``make soak`` runs the reliability tests with their long numbers; each writes what it really did
into ``var/soak.jsonl``. Run as ``python -m tests.soak`` this adds them to those of earlier soaks,
kept in ``tests/reliability/soaked.jsonl``, and makes the table: the newest line of each part
counts, and a row of which nothing was run says so.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from tests.reliability.record import RECORD, ROOT, Line, What

START, END = "<!-- soak:start -->", "<!-- soak:end -->"
_HEAD = (
    "| what | wanted | done | went wrong | database | date | commit |\n"
    "|---|---|---|---|---|---|---|\n"
)
KEPT = ROOT / "tests" / "reliability" / "soaked.jsonl"
DATABASES = ("SQLite", "PostgreSQL")


@dataclass(frozen=True)
class Row:
    """What a whole soak has to reach on one database."""

    what: What
    wanted: int
    only_on: str = ""


# Writers queue on SQLite, so eight at once show nothing there that two do not.
ROWS = (
    Row(What.SQL_FAULTS, 500),
    Row(What.FILE_FAULTS, 20),
    Row(What.KILLS, 50),
    Row(What.KILLED_SUBMISSIONS, 2_000),
    Row(What.RACES_OF_TWO, 1_000, "PostgreSQL"),
    Row(What.RACES_OF_TWO, 100, "SQLite"),
    Row(What.RACES_OF_EIGHT, 100, "PostgreSQL"),
    Row(What.REPLAYS, 10_000),
    Row(What.FUZZED, 100_000),
    Row(What.DAMAGES, 1_100),
    Row(What.UNSENT, 1_000),
    Row(What.REVOCATIONS, 1_000),
    Row(What.BACKUPS, 50),
    Row(What.WALKS, 10_000),
    Row(What.FULL_DISK, 500),
    Row(What.GUESSES, 10_000),
    Row(What.CLEAN_RUNS, 100),
)


def table(lines: list[Line]) -> str:
    """The rows as Markdown; the last line of a part is the one that counts."""
    cells = [
        _cells(row, database, lines)
        for row in ROWS
        for database in DATABASES
        if row.only_on in ("", database)
    ]
    return _HEAD + "".join(f"| {' | '.join(each)} |\n" for each in cells)


def write_into(file: Path, text: str) -> None:
    """Put the text between the marks; raises ValueError for a file that has none."""
    old = file.read_text(encoding="utf-8")
    if START not in old or END not in old:
        raise ValueError(f"{file.name} has no {START} … {END}")
    before, _start, rest = old.partition(START)
    _former, _end, after = rest.partition(END)
    file.write_text(f"{before}{START}\n{text}{END}{after}", encoding="utf-8")


def _cells(row: Row, database: str, lines: list[Line]) -> tuple[str, ...]:
    newest = {
        line["part"]: line
        for line in lines
        if (line["what"], line["database"]) == (row.what, database)
    }
    wanted = f"{row.wanted:,}"
    if not newest:
        return (row.what, wanted, "not run", "", database, "", "")
    parts = list(newest.values())
    done, wrong = (sum(part[key] for part in parts) for key in ("done", "failures"))
    day = date.fromisoformat(max(part["day"] for part in parts))
    commits = ", ".join(sorted({part["commit"] for part in parts}))
    short = "" if done >= row.wanted else " (fewer than wanted)"
    return (
        row.what,
        wanted,
        f"{done:,}{short}",
        f"**{wrong}**" if wrong else "0",
        database,
        f"{day.day} {day:%B %Y}",
        commits,
    )


def newest_of(lines: list[Line]) -> list[Line]:
    """The last line of each part on each database, sorted."""
    kept = {(line["what"], line["part"], line["database"]): line for line in lines}
    return [kept[key] for key in sorted(kept)]


def _read(file: Path) -> list[Line]:
    if not file.exists():
        return []
    return [json.loads(text) for text in file.read_text(encoding="utf-8").splitlines()]


def main() -> int:
    """Write the record and the table; 1 when something went wrong in what was run."""
    lines = newest_of(_read(KEPT) + _read(RECORD))
    KEPT.write_text("".join(f"{json.dumps(line)}\n" for line in lines), encoding="utf-8")
    text = table(lines)
    write_into(ROOT / "DEVELOPERS.md", text)
    sys.stdout.write(f"{text}The table in DEVELOPERS.md is written.\n")
    return int("**" in text)


if __name__ == "__main__":
    sys.exit(main())
