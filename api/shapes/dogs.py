"""Dogs, breeds and traits: the JSON shape of each beside the function that fills it."""

from __future__ import annotations

from typing import Any

from api.shapes.common import (
    DAY,
    ID,
    REASON,
    TEXT,
    WHOLE,
    YES_NO,
    Schema,
    closed,
    list_of,
    maybe,
    ref,
)
from registry.models import Breed, Dog, Trait
from registry.queries.ancestors import Ancestor

_SEX: Schema = {"type": "string", "enum": ["F", "M"]}

DOG = closed(
    {
        "id": ID, "name": TEXT, "call_name": TEXT, "breed": TEXT, "sex": _SEX, "born_on": DAY,
        "died_on": maybe(DAY), "colour": TEXT, "chip": maybe(TEXT), "studbook_number": TEXT,
        "sire": maybe(ID), "dam": maybe(ID), "is_confirmed": YES_NO, "version": WHOLE,
    }
)  # fmt: skip

_FACTS: Schema = {
    "breed": {"type": "string", "description": "slug of a breed", "examples": ["tarn-spaniel"]},
    "name": {"type": "string", "minLength": 1, "maxLength": 120},
    "sex": _SEX,
    "born_on": DAY,
    "call_name": {"type": ["string", "null"], "maxLength": 40},
    "colour": {"type": ["string", "null"], "maxLength": 60},
    "chip": {"type": ["string", "null"], "examples": ["276098101234567"]},
    "studbook_number": {"type": ["string", "null"], "maxLength": 40},
    "sire": {"type": ["string", "null"], "description": "id of the sire"},
    "dam": {"type": ["string", "null"], "description": "id of the dam"},
    "died_on": {"type": ["string", "null"]},
}
_OPTIONAL = ("call_name", "colour", "chip", "studbook_number", "sire", "dam", "died_on")
DOG_FACTS = closed(_FACTS, optional=_OPTIONAL)
DOG_CORRECTION = closed(
    {**_FACTS, "version": WHOLE, "reason": {**REASON, "minLength": 1}}, optional=_OPTIONAL
)
_STEP: Schema = {"type": "string", "enum": ["sire", "dam"]}
ANCESTOR = closed(
    {
        "line": {**list_of(_STEP), "description": "[dam, sire] is the dam's sire"},
        "id": ID, "name": TEXT, "breed": TEXT, "sex": _SEX, "born_on": DAY,
        "values": {
            **list_of(closed({"trait": TEXT, "value": TEXT})),
            "description": "empty: not tested or not released",
        },
    }
)  # fmt: skip
PEDIGREE = closed({"dog": ID, "ancestors": list_of(ref("Ancestor"))})
MERGE = closed(
    {
        "drop": {"type": "string", "description": "id of the entry that goes"},
        "reason": {**REASON, "minLength": 1},
        "confirmed": {
            **list_of({"type": "string", "enum": ["birth-date", "chips"]}),
            "description": "differences that somebody has looked at",
        },
    },
    optional=("confirmed",),
)
BREED = closed({"slug": TEXT, "name": TEXT, "window_months": WHOLE})
TRAIT = closed(
    {
        "slug": TEXT, "name": TEXT, "kind": {"type": "string", "enum": ["measured", "graded"]},
        "unit": TEXT, "resolution": TEXT, "lowest": TEXT, "highest": TEXT, "is_per_side": YES_NO,
        "better": {"type": "string", "enum": ["lower", "higher"]}, "minimum_age_days": WHOLE,
        "grades": list_of(TEXT), "from_radius": YES_NO, "is_counted": YES_NO,
        "guidance": list_of(closed({"value": TEXT, "sentence": TEXT, "source": TEXT})),
    }
)  # fmt: skip


def dog(found: Dog) -> dict[str, Any]:
    """A dog as holders of a token see it; breed, sire and dam should be loaded."""
    return {
        "id": found.public_id,
        "name": found.name,
        "call_name": found.call_name,
        "breed": found.breed.slug,
        "sex": found.sex,
        "born_on": str(found.born_on),
        "died_on": str(found.died_on) if found.died_on else None,
        "colour": found.colour,
        "chip": found.chip,
        "studbook_number": found.studbook_number,
        "sire": found.sire.public_id if found.sire else None,
        "dam": found.dam.public_id if found.dam else None,
        "is_confirmed": found.is_confirmed,
        "version": found.version,
    }


def ancestor(found: Ancestor) -> dict[str, Any]:
    """An ancestor with what is released of it."""
    return {
        "line": list(found.line),
        "id": found.public_id,
        "name": found.name,
        "breed": found.breed,
        "sex": found.sex,
        "born_on": str(found.born_on),
        "values": [
            {"trait": value.trait.slug, "value": value.trait.value_text(value.step)}
            for value in found.values
        ],
    }


def breed(found: Breed) -> dict[str, Any]:
    """A breed."""
    return {"slug": found.slug, "name": found.name, "window_months": found.window_months}


def trait(found: Trait) -> dict[str, Any]:
    """A trait with its scale; grades are listed best first."""
    return {
        "slug": found.slug,
        "name": found.name,
        "kind": str(found.kind),
        "unit": found.unit,
        "resolution": str(found.resolution.normalize()),
        "lowest": found.value_text(int(found.lowest / found.resolution)),
        "highest": found.value_text(int(found.highest / found.resolution)),
        "is_per_side": found.is_per_side,
        "better": str(found.better),
        "minimum_age_days": found.minimum_age_days,
        "grades": [str(grade) for grade in found.grades],
        "from_radius": found.from_radius,
        "is_counted": found.is_counted,
        "guidance": [
            {name: str(point[name]) for name in ("value", "sentence", "source")}
            for point in found.guidance
        ],
    }
