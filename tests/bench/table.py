"""The table of measurements, and its place in DEVELOPERS.md between two marks."""

from __future__ import annotations

from pathlib import Path

from tests.bench.rounds import Row

START, END = "<!-- bench:start -->", "<!-- bench:end -->"
_HEAD = (
    "| what | against | measured ratio: median (lowest–highest) | goal | met? | database | n |\n"
    "|---|---|---|---|---|---|---|\n"
)


def is_met(goal: str, ratio: float) -> bool:
    """Whether a ratio meets a goal: ``<= 4``, ``>= 0.25`` or ``0.8 to 1.2``."""
    sign, _space, rest = goal.partition(" ")
    if sign == "<=":
        return ratio <= float(rest)
    if sign == ">=":
        return ratio >= float(rest)
    return float(sign) <= ratio <= float(rest.removeprefix("to "))


def table(rows: list[Row], *, heading: str) -> str:
    """The rows as Markdown under the line that says when, where and at which commit."""
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
    )
    return "| " + " | ".join(cells) + " |"


def _short(number: float) -> str:
    return f"{number:.0f}" if number >= 100 else f"{number:.3g}"
