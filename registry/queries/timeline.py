"""The audit trail of one dog or evaluation as staff read it: who, when, what from → to, and why."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from registry.models import DogAlias, LedgerEntry, User

_ROLES = {
    "clinic": "clinic staff",
    "registrar": "registrar",
    "secretary": "secretary",
    "system": "the registry itself",
}


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One field before and after, as text; empty where there was or is nothing."""

    field: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class TimelineEntry:
    """One ledger entry in words. ``reason`` is empty when none was given or it was erased."""

    seq: int
    at: datetime
    action: str
    subject: str
    who: str
    role: str
    via: str
    changes: list[FieldChange]
    reason: str


def timeline_of(subject: str) -> list[TimelineEntry]:
    """Entries about one subject (``evaluation:id``, ``dog:id``, ...), newest first."""
    return _entries(LedgerEntry.objects.filter(subject=subject))


def timeline_of_dog(public_id: str) -> list[TimelineEntry]:
    """Entries about a dog, everything of it and what was merged into it, newest first."""
    merged = DogAlias.objects.filter(dog__public_id=public_id).values_list("public_id", flat=True)
    return _entries(LedgerEntry.objects.filter(dog__in=[public_id, *merged]))


def _entries(found: Any) -> list[TimelineEntry]:
    entries = list(found.order_by("-seq").prefetch_related("texts"))
    people = dict(
        User.objects.filter(
            subject_id__in={entry.actor for entry in entries if entry.actor}
        ).values_list("subject_id", "full_name")
    )
    return [_entry(entry, people) for entry in entries]


def _entry(entry: LedgerEntry, people: dict[str, str]) -> TimelineEntry:
    body = json.loads(entry.body)
    texts = {text.field: text.text for text in entry.texts.all()}
    role = body["who"]["role"]
    return TimelineEntry(
        seq=entry.seq,
        at=entry.at,
        action=entry.action,
        subject=entry.subject,
        who=people.get(entry.actor, "") or _(_ROLES.get(role, role)),
        role=role,
        via=body["who"]["via"],
        changes=list(_changes(body["values"], texts)),
        reason=texts.get("reason", ""),
    )


def _changes(values: dict[str, Any], texts: dict[str, str]) -> Iterable[FieldChange]:
    for name, change in sorted(values.items()):
        yield FieldChange(name, _text(change["from"]), _text(change["to"]))
    for name in sorted({field.rpartition(".")[0] for field in texts if field != "reason"}):
        yield FieldChange(name, texts.get(f"{name}.from", ""), texts.get(f"{name}.to", ""))


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, list):
        return ", ".join(_text(item) for item in value)
    if isinstance(value, dict):
        return ", ".join(f"{key}: {_text(item)}" for key, item in value.items())
    return str(value)
