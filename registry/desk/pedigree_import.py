"""Import a pedigree from a CSV file: a dry run that says of every row what would become of it, and
the import itself, in one transaction.

The rows become dogs by the same function that registers one dog. A dog that is in the register
already is recognised and never overwritten; what the register does not say of it is filled in. So
the same file a second time changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from registry.desk.actor import Actor, require_role
from registry.desk.dogs import claimed, write_changes, write_new
from registry.desk.parentage import ParentRole, hold_pedigree
from registry.desk.pedigree_candidates import Candidate, in_order
from registry.desk.pedigree_check import FILLED, check_rows
from registry.desk.pedigree_rows import Row, read_sheet
from registry.ledger import Change, append
from registry.models import Dog, Role


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one box of one row, or with the row (no column), and how to fix it."""

    row: int
    column: str
    given: str
    message: str


@dataclass(frozen=True, slots=True)
class Report:
    """What becomes, or became, of a file. Rows are named by their number in a spreadsheet.

    ``differences`` are boxes where the register has another word, which stays. ``bad`` are the rows
    that cannot be taken; ``named_by_bad`` those that they name as parents by key.
    """

    sha256: str
    notes: tuple[str, ...]
    rows: int
    new: tuple[int, ...]
    filled: tuple[int, ...]
    same: tuple[int, ...]
    faults: tuple[Fault, ...]
    differences: tuple[Fault, ...]
    bad: tuple[Row, ...]
    named_by_bad: tuple[Row, ...]


def check(*, by: Actor, content: bytes) -> Report:
    """The dry run: what would become of every row. Writes nothing; raises Invalid for a file that
    cannot be read."""
    _may(by)
    sheet = read_sheet(content)
    return _report(sheet.sha256, sheet.notes, check_rows(sheet))


def commit(*, by: Actor, content: bytes) -> Report:
    """Import the rows that have no fault, all in one transaction, and say what became of each.

    The rows are checked anew, against the register as it is now.
    """
    _may(by)
    sheet = read_sheet(content)
    with transaction.atomic():
        hold_pedigree()
        candidates = check_rows(sheet)
        report = _report(sheet.sha256, sheet.notes, candidates)
        written: dict[int, Dog] = {}
        for candidate in in_order(candidates):
            written[id(candidate)] = _write(by, candidate, written, sheet.sha256)
        if report.new or report.filled:
            append(
                by=by,
                action="pedigree.imported",
                subject=f"pedigree:{sheet.sha256[:24]}",
                changes={
                    "file": Change(None, sheet.sha256),
                    "rows": Change(None, report.rows),
                    "registered": Change(None, _ranges(report.new)),
                    "filled": Change(None, _ranges(report.filled)),
                    "left_out": Change(None, _ranges(tuple(row.number for row in report.bad))),
                },
            )
    return report


def _may(by: Actor) -> None:
    """Registrars and secretaries, and who works at the server's command line."""
    if by.role is not None or by.user_pk is not None:
        require_role(by, Role.REGISTRAR, Role.SECRETARY)


def _write(by: Actor, candidate: Candidate, written: dict[int, Dog], sha256: str) -> Dog:
    origin = {
        "import_file": Change(None, sha256),
        "import_row": Change(None, candidate.row.number),
    }
    parents: dict[str, Dog] = {
        role: parent if isinstance(parent, Dog) else written[id(parent)]
        for role, parent in candidate.parents.items()
    }
    if candidate.known is None:
        values = {**candidate.values, "sire": None, "dam": None, **parents}
        return write_new(by=by, values=values, origin=origin)
    missing = _missing(candidate)
    if not missing:
        return candidate.known
    dog = claimed(candidate.known.public_id, candidate.known.version)
    values = {**candidate.values, **parents}
    write_changes(
        by=by,
        dog=dog,
        values={name: values[name] for name in missing},
        reason=_("Filled in from the file of a pedigree."),
        origin=origin,
    )
    return dog


def _missing(candidate: Candidate) -> list[str]:
    """The columns that the row says and the register does not."""
    dog = candidate.known
    if dog is None:
        return []
    columns = [name for name in FILLED if candidate.values[name] and not getattr(dog, name)]
    roles: list[tuple[ParentRole, Any]] = [("sire", dog.sire_id), ("dam", dog.dam_id)]
    return columns + [role for role, there in roles if role in candidate.parents and there is None]


def _report(sha256: str, notes: tuple[str, ...], candidates: list[Candidate]) -> Report:
    sound = [each for each in candidates if not each.faults]
    bad = [each for each in candidates if each.faults]
    refused = {each.row.number for each in bad}
    named = {
        parent.row.number: parent.row
        for each in bad
        for parent in each.parents.values()
        if isinstance(parent, Candidate) and parent.row.number not in refused
    }
    return Report(
        sha256=sha256,
        notes=notes,
        rows=len(candidates),
        new=tuple(each.row.number for each in sound if each.known is None),
        filled=tuple(each.row.number for each in sound if _missing(each)),
        same=tuple(
            each.row.number for each in sound if each.known is not None and not _missing(each)
        ),
        faults=tuple(
            Fault(each.row.number, column, each.row[column] if column else "", message)
            for each in bad
            for column, message in each.faults
        ),
        differences=tuple(
            Fault(each.row.number, column, each.row[column], there)
            for each in sound
            for column, there in each.differences
        ),
        bad=tuple(each.row for each in bad),
        named_by_bad=tuple(named[number] for number in sorted(named)),
    )


def _ranges(numbers: tuple[int, ...]) -> str:
    """``2-118, 120``: row numbers in few words."""
    parts: list[list[int]] = []
    for number in sorted(numbers):
        if parts and number == parts[-1][1] + 1:
            parts[-1][1] = number
        else:
            parts.append([number, number])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in parts)
