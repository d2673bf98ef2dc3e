"""A pedigree's file taken apart: bytes into rows of text, with what is wrong with the file itself.

Nothing is guessed: a chip that a spreadsheet has rounded stays broken, an empty box stays empty,
and a dog may be called NA or None. What the rows mean is not asked here.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from registry.desk.errors import Invalid

MOST_BYTES = 10 * 1024 * 1024
MOST_ROWS = 20_000
COLUMNS = (
    "key", "name", "call_name", "breed", "sex", "born_on", "died_on", "colour", "chip",
    "studbook_number", "sire", "dam",
)  # fmt: skip
NEEDED = ("name", "sex", "born_on")
# What the file of bad rows adds; read again, it is left out.
REPORTED = ("row", "problem")
_SEPARATORS = (";", ",", "\t")
_STARTERS = "=+-@"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the file. ``number`` is the one a spreadsheet shows: the head is row 1."""

    number: int
    cells: Mapping[str, str]
    fault: str = ""

    def __getitem__(self, column: str) -> str:
        """The box of a column, without blanks around it; empty where the file has none."""
        return self.cells.get(column, "")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file that could be read. ``notes`` are sentences about how it was read."""

    sha256: str
    rows: tuple[Row, ...]
    notes: tuple[str, ...]


def read_sheet(content: bytes) -> Sheet:
    """Take the file apart; raises Invalid when it is no table that could be read."""
    if len(content) > MOST_BYTES:
        raise _no_file(_("The file is larger than 10 MB. Split it into several files."))
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise _no_file(_("This is a spreadsheet's own file. Save it as CSV (UTF-8) first."))
    text, notes = _decoded(content)
    if "\x00" in text:
        raise _no_file(_("The file holds characters that are no text (NUL). Save it as CSV again."))
    try:
        rows, more = _rows(text)
    except csv.Error:
        raise _no_file(
            _("The file cannot be taken apart: a quote may be missing. Save it as CSV again.")
        ) from None
    notes += more
    if not rows:
        raise _no_file(_("The file has a head but no row below it."))
    return Sheet(hashlib.sha256(content).hexdigest(), tuple(rows), tuple(notes))


def read_day(text: str) -> date:
    """A day as year-month-day or day.month.year; raises ValueError that says how to write it."""
    for pattern, order in (
        (r"(\d{4})-(\d{2})-(\d{2})", (1, 2, 3)),
        (r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", (3, 2, 1)),
    ):
        if found := re.fullmatch(pattern, text, re.ASCII):
            year, month, day = (int(found.group(place)) for place in order)
            try:
                return date(year, month, day)
            except ValueError:
                raise ValueError(_("This day is not in the calendar. Check it.")) from None
    raise ValueError(
        _("Write the day as year-month-day (2026-10-02) or day.month.year (2.10.2026).")
    )


def _decoded(content: bytes) -> tuple[str, list[str]]:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return content.decode("utf-16"), []
        except UnicodeDecodeError:
            raise _unreadable() from None
    try:
        return content.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        pass
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError:
        raise _unreadable() from None
    words = re.findall(r"\S*[^\x00-\x7f]\S*", text)[:3]
    said = _(
        "The file is not UTF-8 and was read as Windows-1252. Look whether these are right:"
        " %(words)s. If not, save the file as CSV UTF-8."
    )
    return text, [said % {"words": ", ".join(word.strip(';,"') for word in words)}]


def _unreadable() -> Invalid:
    return _no_file(_("The letters of this file cannot be read. Save it as CSV UTF-8."))


def _no_file(message: str) -> Invalid:
    return Invalid.one("/file", message)


def _rows(text: str) -> tuple[list[Row], list[str]]:
    first = text.split("\n", 1)[0]
    separator = max(_SEPARATORS, key=first.count)
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    head = next(lines, [])
    columns = [_column(title) for title in head]
    notes = _check_head(columns, head)
    rows: list[Row] = []
    for number, cells in enumerate(lines, 2):
        if any(cell.strip() for cell in cells):
            rows.append(_row(number, columns, cells))
        if len(rows) > MOST_ROWS:
            raise _no_file(_("The file has more than 20,000 rows. Split it into several files."))
    return rows, notes


def _column(title: str) -> str:
    return re.sub(r"[\s-]+", "_", title.strip().casefold())


def _check_head(columns: list[str], head: list[str]) -> list[str]:
    missing = [name for name in NEEDED if name not in columns]
    if missing:
        raise _no_file(
            _("The first row has to name the columns; %(columns)s is missing. Use the template.")
            % {"columns": ", ".join(missing)}
        )
    doubled = sorted({name for name in columns if name in COLUMNS and columns.count(name) > 1})
    if doubled:
        raise _no_file(
            _("The column %(column)s is there twice. Take one out.") % {"column": doubled[0]}
        )
    strange = [
        title.strip()[:40]
        for title, name in zip(head, columns, strict=True)
        if name and name not in COLUMNS + REPORTED
    ]
    if not strange:
        return []
    words = _("These columns are not read: %(columns)s.")
    return [words % {"columns": ", ".join(strange[:20])}]


def _row(number: int, columns: list[str], cells: list[str]) -> Row:
    known = {
        name: _plain(cell) for name, cell in zip(columns, cells, strict=False) if name in COLUMNS
    }
    if any(cell.strip() for cell in cells[len(columns) :]):
        fault = _(
            "The row has more boxes than the head. Put a text that holds the separator in quotes."
        )
        return Row(number, known, fault)
    return Row(number, known)


def _plain(cell: str) -> str:
    """The text without blanks around it, and without the apostrophe that keeps a spreadsheet from
    computing it."""
    text = cell.strip()
    return text[1:] if len(text) > 1 and text[0] == "'" and text[1] in _STARTERS else text
