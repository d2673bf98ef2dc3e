"""Announced examinations: the JSON shape beside what fills it."""

from __future__ import annotations

from typing import Any

from api.shapes.common import DAY, ID, INSTANT, TEXT, Schema, closed, maybe
from registry.ledger.append import instant_text
from registry.models import Announcement

STATES = ("open", "answered", "withdrawn")
_STATE: Schema = {"type": "string", "enum": list(STATES)}

ANNOUNCEMENT_GIVEN = closed({"dog": ID, "examined_on": DAY})
ANNOUNCEMENT = closed(
    {
        "id": ID, "reference": TEXT, "state": _STATE,
        "dog": closed({"id": ID, "name": TEXT, "breed": TEXT}),
        "clinic": closed({"id": ID, "name": TEXT}), "examined_on": DAY, "announced_at": INSTANT,
        "evaluation": maybe(ID), "withdrawn_at": maybe(INSTANT), "reason": TEXT,
    }
)  # fmt: skip


def announcement(found: Announcement) -> dict[str, Any]:
    """An announcement as its clinic and registrars see it."""
    answered, gone = found.evaluation, found.withdrawn_at
    return {
        "id": found.public_id,
        "reference": found.reference,
        "state": "answered" if answered else "withdrawn" if gone else "open",
        "dog": {
            "id": found.dog.public_id,
            "name": found.dog.name,
            "breed": found.dog.breed.slug,
        },
        "clinic": {"id": found.clinic.public_id, "name": found.clinic.name},
        "examined_on": str(found.examined_on),
        "announced_at": instant_text(found.announced_at),
        "evaluation": answered.public_id if answered else None,
        "withdrawn_at": instant_text(gone) if gone else None,
        "reason": found.reason,
    }
