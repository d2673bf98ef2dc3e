"""Evaluations, their flags, files and history: the JSON shape of each beside what fills it."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy

from api.shapes.common import (
    DAY,
    ID,
    INSTANT,
    REASON,
    SIDE,
    STATE,
    TEXT,
    WHOLE,
    YES_NO,
    Schema,
    closed,
    list_of,
    maybe,
    ref,
)  # fmt: skip
from registry.desk.decide import MOST_AT_ONCE
from registry.ledger.append import instant_text
from registry.models import Evaluation, Evidence, Role
from registry.queries.flag_words import words_of
from registry.queries.queue import QueueRow
from registry.queries.timeline import TimelineEntry

_DECIMAL: Schema = {"type": ["string", "integer"], "examples": ["0.31"]}
CONDITIONS = closed(
    {
        "restraint": {"type": "string", "enum": ["sedation", "general-anaesthesia", "none"]},
        "chip_read": YES_NO,
        "weight_kg": {"type": ["string", "integer", "null"], "examples": ["18.5"]},
        "chip_as_read": {"type": ["string", "null"], "description": "when it is not the dog's own"},
    },
    optional=("weight_kg", "chip_as_read"),
)
READING_GIVEN = {
    "type": "object",
    "description": "A value, or for hip laxity the head radius and displacement it follows from.",
    "properties": {
        "trait": {"type": "string", "examples": ["hip-laxity"]},
        "side": SIDE,
        "value": _DECIMAL,
        "head_radius_mm": _DECIMAL,
        "displacement_mm": _DECIMAL,
    },
    "required": ["trait", "side"],
}
OWNER: Schema = {
    "type": ["object", "null"],
    "properties": {"full_name": {"type": "string", "minLength": 1, "maxLength": 120},
                   "email": {"type": ["string", "null"]}},
    "required": ["full_name"],
}  # fmt: skip
_GIVEN: Schema = {
    "dog": {
        "type": "object",
        "description": "by chip, or by the id of the register",
        "properties": {"id": TEXT, "chip": TEXT},
        "minProperties": 1,
    },
    "examined_on": DAY,
    "examiner": {"type": "string", "minLength": 1, "maxLength": 120},
    "conditions": ref("Conditions"),
    "readings": {"type": "array", "minItems": 1, "items": ref("ReadingGiven")},
    "owner": OWNER,
    "consent_to_publish": {"type": ["boolean", "null"]},
    "evidence": {"type": ["array", "null"], "items": TEXT},
}
ANSWERS = closed(_GIVEN, optional=("owner", "consent_to_publish", "evidence"))
REPLACEMENT = closed(
    {
        "reason": {**REASON, "minLength": 1},
        **{name: _GIVEN[name] for name in ("examined_on", "examiner", "conditions", "readings")},
    },
    optional=("examined_on", "examiner", "conditions", "readings"),
)
DECISION = closed(
    {
        "decision": {"type": "string", "enum": ["accept", "return", "decline"]},
        "reason": REASON,
        "fields": {**list_of(TEXT), "description": "JSON Pointers to what is to be put right"},
    },
    optional=("reason", "fields"),
)
REASON_GIVEN = closed({"reason": {**REASON, "minLength": 1}})
CHOSEN = closed(
    {"evaluations": {**list_of(TEXT), "minItems": 1, "maxItems": MOST_AT_ONCE}},
)
OUTCOME = closed({"id": TEXT, "certificate": maybe(TEXT), "why_left": TEXT})
OUTCOMES = closed({"outcomes": list_of(OUTCOME)})
MOVED = closed(
    {
        "id": ID, "reference": TEXT, "state": STATE, "certificate": maybe(TEXT),
        "waits_for_second": {
            "type": "boolean",
            "description": "true: noted, and done once another registrar does the same",
        },
    }
)  # fmt: skip
FLAG = closed(
    {
        "code": TEXT, "level": {"type": "string", "enum": ["look", "stop"]},
        "name": TEXT, "sentence": TEXT, "trait": maybe(TEXT), "side": maybe(SIDE),
    }
)  # fmt: skip
READING = closed(
    {
        "trait": TEXT, "side": SIDE, "value": TEXT, "unit": TEXT, "head_radius_mm": maybe(TEXT),
        "displacement_mm": maybe(TEXT),
    }
)  # fmt: skip
EVIDENCE = closed(
    {
        "id": ID, "sha256": TEXT, "size": WHOLE, "content_type": TEXT, "name": TEXT,
        "evaluation": maybe(ID),
    }
)  # fmt: skip
EVALUATION = closed(
    {
        "id": ID, "reference": TEXT, "state": STATE,
        "dog": closed({"id": ID, "name": TEXT, "breed": TEXT, "chip": maybe(TEXT)}),
        "clinic": closed({"id": ID, "name": TEXT}), "examined_on": DAY, "examiner": TEXT,
        "conditions": ref("Conditions"),
        "readings": list_of(ref("Reading")), "flags": list_of(ref("Flag")),
        "evidence": list_of(ref("Evidence")),
        "owner": maybe(closed({"full_name": TEXT, "email": TEXT})),
        "consent_to_publish": YES_NO, "submitted_at": INSTANT, "decided_at": maybe(INSTANT),
        "reason": TEXT, "fields_to_fix": list_of(TEXT), "certificate": maybe(TEXT),
    }
)  # fmt: skip
QUEUED = closed(
    {
        "evaluation": ref("Evaluation"), "waiting_working_days": WHOLE, "is_late": YES_NO,
        "is_clean": YES_NO,
    }
)  # fmt: skip
QUEUE = closed(
    {
        "items": list_of(ref("Queued")), "matching": WHOLE, "total": WHOLE, "page": WHOLE,
        "pages": WHOLE, "usual_working_days": list_of(WHOLE),
    }
)  # fmt: skip
ENTRY = closed(
    {
        "seq": WHOLE, "at": INSTANT, "action": TEXT, "subject": TEXT, "who": TEXT, "role": TEXT,
        "via": TEXT, "reason": TEXT,
        "changes": list_of(closed({"field": TEXT, "from": TEXT, "to": TEXT})),
    }
)  # fmt: skip

# The full sentence on these names another examination, which may be another clinic's.
_OF_OTHERS = {
    "possible_duplicate": gettext_lazy(
        "The club has another result of this dog from about that day, or with the same values."
    ),
    "same_evidence": gettext_lazy("One of the files is attached to another result as well."),
    "sides_swapped": gettext_lazy(
        "Left and right are those of another result of this dog the other way round."
    ),
}


def evaluation(found: Evaluation, *, role: Role | None) -> dict[str, Any]:
    """An evaluation as its clinic and registrars see it."""
    owner, certificate = found.owner, getattr(found, "certificate", None)
    return {
        "id": found.public_id,
        "reference": found.reference,
        "state": str(found.state),
        "dog": {
            "id": found.dog.public_id,
            "name": found.dog.name,
            "breed": found.dog.breed.slug,
            "chip": found.dog.chip,
        },
        "clinic": {"id": found.clinic.public_id, "name": found.clinic.name},
        "examined_on": str(found.examined_on),
        "examiner": found.examiner,
        "conditions": found.conditions,
        "readings": [_reading(each) for each in found.readings.all()],
        "flags": [_flag(each, role) for each in found.flags.all()],
        "evidence": [evidence(each, found) for each in found.evidence.all()],
        "owner": {"full_name": owner.full_name, "email": owner.email} if owner else None,
        "consent_to_publish": found.consent_to_publish,
        "submitted_at": instant_text(found.submitted_at),
        "decided_at": instant_text(found.decided_at) if found.decided_at else None,
        "reason": found.reason,
        "fields_to_fix": found.fields_to_fix,
        "certificate": certificate.number if certificate else None,
    }


def _reading(found: Any) -> dict[str, Any]:
    radius, displacement = found.head_radius_mm, found.displacement_mm
    return {
        "trait": found.trait.slug,
        "side": str(found.side),
        "value": found.value_text,
        "unit": found.trait.unit,
        "head_radius_mm": None if radius is None else str(radius),
        "displacement_mm": None if displacement is None else str(displacement),
    }


def _flag(found: Any, role: Role | None) -> dict[str, Any]:
    words = words_of(found)
    sentence: object = words.sentence
    if role == Role.CLINIC:
        sentence = _OF_OTHERS.get(found.code, sentence)
    return {
        "code": found.code,
        "level": str(found.level),
        "name": str(words.name),
        "sentence": str(sentence),
        "trait": found.trait.slug if found.trait else None,
        "side": found.side or None,
    }


def evidence(found: Evidence, of: Evaluation | None) -> dict[str, Any]:
    """A file's facts; its bytes are at ``/evidence/{id}/content``."""
    return {
        "id": found.public_id,
        "sha256": found.sha256,
        "size": found.size,
        "content_type": found.content_type,
        "name": found.original_name,
        "evaluation": of.public_id if of else None,
    }


def queued(row: QueueRow, whole: Evaluation) -> dict[str, Any]:
    """A waiting evaluation for a registrar; ``whole`` is the row's, with all that is shown."""
    return {
        "evaluation": evaluation(whole, role=Role.REGISTRAR),
        "waiting_working_days": row.waiting_days,
        "is_late": row.is_late,
        "is_clean": row.is_clean,
    }


def entry(found: TimelineEntry) -> dict[str, Any]:
    """One entry of the audit trail."""
    return {
        "seq": found.seq,
        "at": instant_text(found.at),
        "action": found.action,
        "subject": found.subject,
        "who": str(found.who),
        "role": found.role,
        "via": found.via,
        "reason": found.reason,
        "changes": [
            {"field": change.field, "from": str(change.before), "to": str(change.after)}
            for change in found.changes
        ],
    }
