"""The table of measurements, and its place in DEVELOPERS.md between two marks."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tests.bench.rounds import Row

START, END = "<!-- bench:start -->", "<!-- bench:end -->"
KEPT = Path(__file__).with_name("measured.json")
"""The rows of the table as they were measured, so that a part of them can be measured anew."""
_HEAD = (
    "| what | against | measured ratio: median (lowest–highest) | goal | met? | database | n |"
    " commit |\n|---|---|---|---|---|---|---|---|\n"
)


def is_met(goal: str, ratio: float) -> bool:
    """Whether a ratio meets a goal: ``<= 4``, ``>= 0.25`` or ``0.8 to 1.2``."""
    sign, _space, rest = goal.partition(" ")
    if sign == "<=":
        return ratio <= float(rest)
    if sign == ">=":
        return ratio >= float(rest)
    return float(sign) <= ratio <= float(rest.removeprefix("to "))


def renewed(kept: list[Row], measured: list[Row], order: Sequence[str]) -> list[Row]:
    """The kept rows, with those of each module and database measured now in place of the old."""
    again = {(row["module"], row["database"]) for row in measured}
    rows = [row for row in kept if (row["module"], row["database"]) not in again] + measured
    databases = ("SQLite", "PostgreSQL", "none")
    return sorted(
        (row for row in rows if row["module"] in order),
        key=lambda row: (databases.index(row["database"]), order.index(row["module"])),
    )


def table(rows: list[Row], *, heading: str) -> str:
    """The rows as Markdown under the line that says how they were measured."""
    lines = [_line(row) for row in rows]
    notes = [f"- {row['what']} ({row['database']}): {row['detail']}." for row in rows]
    notes = [note for note in notes if not note.endswith(": .")]
    return f"{heading}\n\n{_HEAD}" + "\n".join(lines) + "\n\n" + "\n".join(notes) + "\n"


def write_into(file: Path, text: str) -> None:
    """Put the text between the marks; the file, or the marks at its end, are made if missing."""
    old = file.read_text(encoding="utf-8") if file.exists() else ""
    if START not in old:
        old = f"{old.rstrip()}\n\n{START}\n{END}\n".lstrip()
    before, _start, rest = old.partition(START)
    _former, _end, after = rest.partition(END)
    file.write_text(f"{before}{START}\n{text}{END}{after}", encoding="utf-8")


def _line(row: Row) -> str:
    spread = f" ({_short(row['low'])}–{_short(row['high'])})" if "low" in row else ""
    goal = row["goal"].replace("<=", "≤").replace(">=", "≥").replace(" to ", "–")
    cells = (
        row["what"],
        row["against"],
        f"{_short(row['ratio'])}{spread}",
        goal,
        "yes" if is_met(row["goal"], row["ratio"]) else "**no**",
        row["database"],
        row.get("n", ""),
        row["commit"],
    )
    return "| " + " | ".join(cells) + " |"


def _short(number: float) -> str:
    return f"{number:.0f}" if number >= 100 else f"{number:.3g}"
