"""A dog as an anonymous reader may see it: its released results, what is not released, its young.

Narrow SQL like ``registry.queries.public``, whose rows it uses. Results that were not accepted, and
values whose owner has not agreed, never leave this module.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import connection

from registry.models import State
from registry.queries.public import (
    DOG_COLUMNS,
    TRAIT_COLUMNS,
    PublicDog,
    PublicTrait,
    ReadTrait,
    Relative,
    ReleasedValue,
    as_date,
    dog_from,
    in_order,
    trait_from,
)

MOST_OFFSPRING = 200


@dataclass(frozen=True, slots=True)
class PublicResult:
    """One accepted examination. ``readings`` is empty when it is revoked or not released;
    ``is_corrected`` says that the club has put a corrected result of the same exam in its place."""

    number: str
    state: State
    is_released: bool
    is_corrected: bool
    examined_on: date
    readings: tuple[ReadTrait, ...]


_BY_ID = (
    f"SELECT {DOG_COLUMNS} FROM registry_dog d"  # noqa: S608 - our own column names
    " JOIN registry_breed b ON b.id = d.breed_id WHERE d.public_id = %s"
)
_BY_CHIP = (
    "SELECT public_id FROM registry_dog WHERE chip = %s UNION ALL"
    " SELECT d.public_id FROM registry_dogalias a JOIN registry_dog d ON d.id = a.dog_id"
    " WHERE a.chip = %s"
)
_HEIR = (
    "SELECT d.public_id FROM registry_dogalias a JOIN registry_dog d ON d.id = a.dog_id"
    " WHERE a.public_id = %s"
)
_TRAITS = f"SELECT {TRAIT_COLUMNS} FROM registry_trait t ORDER BY t.position, t.slug"  # noqa: S608
_RESULTS = (
    "SELECT e.id, e.state, e.consent_to_publish, e.examined_on, c.number, r.trait_id, r.side,"
    " r.step, v.id, n.id"
    " FROM registry_evaluation e"
    " JOIN registry_certificate c ON c.evaluation_id = e.id"
    " LEFT JOIN registry_evaluation n ON n.corrects_id = e.id"
    " LEFT JOIN registry_reading r ON r.evaluation_id = e.id"
    " LEFT JOIN registry_countedvalue v ON v.evaluation_id = e.id AND +v.trait_id = r.trait_id"
    " AND v.counted_until IS NULL"
    " WHERE e.dog_id = %s AND e.state IN ('accepted', 'replaced', 'revoked')"
    " ORDER BY e.examined_on DESC, e.id DESC"
)
_OFFSPRING = (
    "SELECT d.id, d.public_id, d.name, d.sex, d.born_on, v.trait_id, v.step, e.consent_to_publish"
    " FROM registry_dog d"
    " LEFT JOIN registry_countedvalue v ON v.dog_id = d.id AND v.counted_until IS NULL"
    " LEFT JOIN registry_evaluation e ON e.id = v.evaluation_id"
    " WHERE d.id IN (SELECT o.id FROM registry_dog o WHERE o.sire_id = %s OR o.dam_id = %s"
    " ORDER BY o.born_on DESC, o.id DESC LIMIT %s)"
    " ORDER BY d.born_on DESC, d.name, d.id"
)


def public_dog(public_id: str) -> PublicDog | None:
    """The dog with this public id, or None: one query."""
    with connection.cursor() as cursor:
        cursor.execute(_BY_ID, [public_id])
        row = cursor.fetchone()
    return dog_from(row) if row else None


def dog_with_chip(text15: str) -> str | None:
    """The public id of the dog with exactly this chip, also a merged entry's; parts of a number
    find nothing."""
    with connection.cursor() as cursor:
        cursor.execute(_BY_CHIP, [text15, text15])
        row = cursor.fetchone()
    return row[0] if row else None


def merged_into(public_id: str) -> str | None:
    """The public id of the dog that the entry with this id was merged into: one query."""
    with connection.cursor() as cursor:
        cursor.execute(_HEIR, [public_id])
        row = cursor.fetchone()
    return row[0] if row else None


def public_traits() -> tuple[PublicTrait, ...]:
    """All traits in the order of pages: one query."""
    with connection.cursor() as cursor:
        cursor.execute(_TRAITS)
        return tuple(trait_from(row) for row in cursor.fetchall())


def results_of(dog: PublicDog, traits: Sequence[PublicTrait]) -> tuple[PublicResult, ...]:
    """The dog's accepted, replaced and revoked examinations, newest first: one query."""
    by_pk = {trait.pk: trait for trait in traits}
    with connection.cursor() as cursor:
        cursor.execute(_RESULTS, [dog.pk])
        rows = cursor.fetchall()
    exams: dict[int, tuple[Any, ...]] = {}
    steps: dict[int, dict[int, dict[str, int]]] = {}
    counting: set[tuple[int, int]] = set()
    for row in rows:
        exams.setdefault(row[0], row)
        if row[5] is not None and row[2] and row[1] != State.REVOKED:
            steps.setdefault(row[0], {}).setdefault(row[5], {})[row[6]] = row[7]
            if row[8] is not None:
                counting.add((row[0], row[5]))
    return tuple(
        PublicResult(
            number=row[4],
            state=State(row[1]),
            is_released=bool(row[2]),
            is_corrected=row[9] is not None,
            examined_on=as_date(row[3]),
            readings=tuple(
                ReadTrait(trait, in_order(steps[pk][trait.pk]), (pk, trait.pk) in counting)
                for trait in by_pk.values()
                if trait.pk in steps.get(pk, {})
            ),
        )
        for pk, row in exams.items()
    )


def offspring_of(dog: PublicDog, traits: Sequence[PublicTrait]) -> tuple[Relative, ...]:
    """The dog's latest offspring with the released values that count for them: one query."""
    by_pk = {trait.pk: trait for trait in traits}
    with connection.cursor() as cursor:
        cursor.execute(_OFFSPRING, [dog.pk, dog.pk, MOST_OFFSPRING])
        rows = cursor.fetchall()
    dogs: dict[int, tuple[Any, ...]] = {}
    steps: dict[int, dict[int, int]] = {}
    for row in rows:
        dogs.setdefault(row[0], row)
        if row[7]:
            steps.setdefault(row[0], {})[row[5]] = row[6]
    return tuple(
        Relative(
            relation="offspring",
            public_id=row[1],
            name=row[2],
            sex=row[3],
            born_on=as_date(row[4]),
            values=tuple(
                ReleasedValue(trait, steps[pk][trait.pk])
                for trait in by_pk.values()
                if trait.pk in steps.get(pk, {})
            ),
        )
        for pk, row in dogs.items()
    )
