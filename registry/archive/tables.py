"""The tables of an export as people read them: a table a subject, with headers in words.

They repeat what the rows say and are never read back in.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Model, QuerySet

from registry.archive.containers import Recorder
from registry.ledger.append import instant_text
from registry.models import (
    Announcement,
    Breed,
    Certificate,
    Clinic,
    CountedValue,
    Dog,
    DogAlias,
    Evaluation,
    Evidence,
    Flag,
    LedgerEntry,
    Membership,
    Owner,
    Reading,
    Trait,
    User,
)
from registry.wording.spreadsheets import harmless

_AT_A_TIME = 1_000

Column = str | Callable[[Any], Any]


@dataclass(frozen=True, slots=True)
class Table:
    """``columns`` are headers with the attribute they show, dots lead on to another row."""

    name: str
    about: str
    rows: Callable[[], QuerySet[Any, Any]]
    columns: tuple[tuple[str, Column], ...]

    @property
    def headers(self) -> list[str]:
        """The first line."""
        return [header for header, _column in self.columns]

    def values(self) -> Iterator[list[Any]]:
        """Each row's values: numbers, yes or no, texts; None for nothing."""
        for row in self.rows().iterator(chunk_size=_AT_A_TIME):
            yield [_plain(_value(row, column)) for _header, column in self.columns]


def write_tables(out: Recorder) -> None:
    """Write every table as CSV and as JSON."""
    for table in TABLES:
        with out.member(f"tables/{table.name}.csv") as member:
            # The mark at the beginning tells spreadsheets that the text is UTF-8.
            member.write("\ufeff".encode() + _csv(table.headers))
            for values in table.values():
                member.write(_csv(values))
        with out.member(f"tables/{table.name}.json") as member:
            before = b"[\n"
            for values in table.values():
                told = dict(zip(table.headers, values, strict=True))
                member.write(before + json.dumps(told, ensure_ascii=False).encode())
                before = b",\n"
            member.write(b"[]\n" if before == b"[\n" else b"\n]\n")


def _csv(values: list[Any]) -> bytes:
    text = io.StringIO()
    csv.writer(text).writerow([_cell(value) for value in values])
    return text.getvalue().encode()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return harmless(str(value))


def _value(row: Model, column: Column) -> Any:
    if callable(column):
        return column(row)
    found: Any = row
    for name in column.split("."):
        found = getattr(found, name) if found is not None else None
    return found


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, datetime):
        return instant_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False, sort_keys=True)
    return str(value)


TABLES = (
    Table(
        "breeds",
        "the breeds, and over how many months their results are compared",
        lambda: Breed.objects.order_by("pk"),
        (("Breed", "name"), ("Address", "slug"), ("Window in months", "window_months")),
    ),
    Table(
        "traits",
        "what is looked at in an examination, its scale and its better end",
        lambda: Trait.objects.order_by("pk"),
        (
            ("Trait", "name"),
            ("Address", "slug"),
            ("Kind", "kind"),
            ("Unit", "unit"),
            ("Resolution", lambda row: row.tidy(row.resolution)),
            ("Lowest", lambda row: row.tidy(row.lowest)),
            ("Highest", lambda row: row.tidy(row.highest)),
            ("Grades, best first", "grades"),
            ("Read on each side", "is_per_side"),
            ("Better end", "better"),
            ("Youngest age in days", "minimum_age_days"),
            ("Sources", "sources"),
            ("Published standard deviation within a dog", "within_dog_sd"),
            ("Source of it", "within_dog_source"),
        ),
    ),
    Table(
        "dogs",
        "the dogs with their parents, tested or not",
        lambda: Dog.objects.select_related("breed", "sire", "dam").order_by("pk"),
        (
            ("Dog", "public_id"),
            ("Registered name", "name"),
            ("Call name", "call_name"),
            ("Breed", "breed.name"),
            ("Sex", "sex"),
            ("Born on", "born_on"),
            ("Died on", "died_on"),
            ("Colour", "colour"),
            ("Chip number", "chip"),
            ("Studbook number", "studbook_number"),
            ("Sire", "sire.public_id"),
            ("Sire's name", "sire.name"),
            ("Dam", "dam.public_id"),
            ("Dam's name", "dam.name"),
            ("Confirmed by a registrar", "is_confirmed"),
        ),
    ),
    Table(
        "dogs_merged",
        "entries that turned out to be a dog that was there already",
        lambda: DogAlias.objects.select_related("dog").order_by("pk"),
        (
            ("Former entry", "public_id"),
            ("Chip number", "chip"),
            ("Dog", "dog.public_id"),
            ("Merged at", "merged_at"),
        ),
    ),
    Table(
        "announcements",
        "examinations announced before their result was known, and what became of each",
        lambda: Announcement.objects.select_related(
            "dog", "clinic", "announced_by", "evaluation"
        ).order_by("pk"),
        (
            ("Reference", "reference"),
            ("Dog", "dog.public_id"),
            ("Clinic", "clinic.name"),
            ("Day of the examination", "examined_on"),
            ("Announced by", "announced_by.username"),
            ("Announced at", "announced_at"),
            ("Examination", "evaluation.reference"),
            ("Withdrawn at", "withdrawn_at"),
            ("Reason", "reason"),
        ),
    ),
    Table(
        "examinations",
        "every examination that was sent in, whatever became of it",
        lambda: Evaluation.objects.select_related(
            "dog", "clinic", "owner", "submitted_by", "decided_by"
        ).order_by("pk"),
        (
            ("Reference", "reference"),
            ("State", "state"),
            ("Dog", "dog.public_id"),
            ("Dog's name", "dog.name"),
            ("Clinic", "clinic.name"),
            ("Examined on", "examined_on"),
            ("Examiner", "examiner"),
            ("Conditions", "conditions"),
            ("Owner", "owner.public_id"),
            ("Owner agrees to publish", "consent_to_publish"),
            ("Sent by", "submitted_by.username"),
            ("Sent at", "submitted_at"),
            ("Decided by", "decided_by.username"),
            ("Decided at", "decided_at"),
            ("Reason", "reason"),
        ),
    ),
    Table(
        "readings",
        "what was read in each examination",
        lambda: Reading.objects.select_related("evaluation", "trait").order_by("pk"),
        (
            ("Examination", "evaluation.reference"),
            ("Trait", "trait.name"),
            ("Side", "side"),
            ("Value", "value_text"),
            ("Unit", "trait.unit"),
            ("Head radius in mm", "head_radius_mm"),
            ("Displacement in mm", "displacement_mm"),
        ),
    ),
    Table(
        "flags",
        "what the automatic checks noticed",
        lambda: Flag.objects.select_related("evaluation", "trait").order_by("pk"),
        (
            ("Examination", "evaluation.reference"),
            ("Flag", "code"),
            ("Level", "level"),
            ("Trait", "trait.name"),
            ("Side", "side"),
            ("Detail", "detail"),
        ),
    ),
    Table(
        "certificates",
        "the certificates, and whether each holds",
        lambda: Certificate.objects.select_related("evaluation__dog").order_by("pk"),
        (
            ("Certificate", "number"),
            ("State of the examination", "evaluation.state"),
            ("Examination", "evaluation.reference"),
            ("Dog", "evaluation.dog.public_id"),
            ("Dog's name", "evaluation.dog.name"),
            ("Issued at", "issued_at"),
            ("Standing as issued", "standing"),
        ),
    ),
    Table(
        "counted_values",
        "which value of a dog counted in its breed's numbers, from when until when",
        lambda: CountedValue.objects.select_related("breed", "trait", "dog", "evaluation").order_by(
            "pk"
        ),
        (
            ("Breed", "breed.name"),
            ("Trait", "trait.name"),
            ("Dog", "dog.public_id"),
            ("Sex", "sex"),
            ("Examination", "evaluation.reference"),
            ("Month examined", "month"),
            ("Value", lambda row: row.trait.value_text(row.step)),
            ("Counted from", "counted_from"),
            ("Counted until", "counted_until"),
        ),
    ),
    Table(
        "files",
        "the evidence files; each lies under its stored name in the folder evidence",
        lambda: Evidence.objects.select_related("clinic", "evaluation", "uploaded_by").order_by(
            "pk"
        ),
        (
            ("Stored name", "stored_name"),
            ("Name as sent", "original_name"),
            ("Kind", "content_type"),
            ("Bytes", "size"),
            ("SHA-256", "sha256"),
            ("Clinic", "clinic.name"),
            ("Examination", "evaluation.reference"),
            ("Sent by", "uploaded_by.username"),
            ("Sent at", "uploaded_at"),
        ),
    ),
    Table(
        "clinics",
        "the clinics",
        lambda: Clinic.objects.order_by("pk"),
        (("Clinic", "name"), ("Town", "town"), ("Mail", "email"), ("May submit", "is_active")),
    ),
    Table(
        "people",
        "who has or had an account (no passwords)",
        lambda: User.objects.order_by("pk"),
        (
            ("Login", "username"),
            ("Full name", "full_name"),
            ("Mail", "email"),
            ("May sign in", "is_active"),
            ("Account since", "date_joined"),
            ("Stands in the ledger as", "subject_id"),
        ),
    ),
    Table(
        "roles",
        "who did what for the club, from when until when",
        lambda: Membership.objects.select_related("user", "clinic").order_by("pk"),
        (
            ("Login", "user.username"),
            ("Role", "role"),
            ("Clinic", "clinic.name"),
            ("From", "started_at"),
            ("Until", "ended_at"),
        ),
    ),
    Table(
        "owners",
        "the dogs' owners as they were on the day of an examination",
        lambda: Owner.objects.order_by("pk"),
        (
            ("Owner", "public_id"),
            ("Full name", "full_name"),
            ("Mail", "email"),
            ("Erased at", "erased_at"),
        ),
    ),
    Table(
        "audit_trail",
        "the ledger's entries, one for each change; the folder ledger has them to the letter",
        lambda: LedgerEntry.objects.order_by("seq"),
        (
            ("Entry", "seq"),
            ("At", "at"),
            ("Deed", "action"),
            ("About", "subject"),
            ("Dog", "dog"),
            ("Who", "actor"),
            ("Hash", "hash"),
        ),
    ),
)
