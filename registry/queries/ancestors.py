"""Three generations of a dog's ancestors with what is released of each. Reads only.

Two narrow queries: one walks up to the fourteen, one asks for the values that count for them. A
value whose owner has not agreed never leaves this module.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import connection

from registry.queries.public import PublicDog, PublicTrait, ReleasedValue, as_date

GENERATIONS = 3
PARENTS = ("sire", "dam")


@dataclass(frozen=True, slots=True)
class Ancestor:
    """One ancestor. ``line`` leads up to it: ``("dam", "sire")`` is the dam's sire. No values
    means: not tested or not released."""

    line: tuple[str, ...]
    public_id: str
    name: str
    sex: str
    born_on: date
    breed: str
    values: tuple[ReleasedValue, ...]


_UP = """
    WITH RECURSIVE up(line, generation, id) AS (
        SELECT 's', 1, sire_id FROM registry_dog WHERE id = %s AND sire_id IS NOT NULL
        UNION ALL
        SELECT 'd', 1, dam_id FROM registry_dog WHERE id = %s AND dam_id IS NOT NULL
        UNION ALL
        SELECT up.line || p.step, up.generation + 1,
               CASE p.step WHEN 's' THEN d.sire_id ELSE d.dam_id END
        FROM up
        JOIN registry_dog d ON d.id = up.id
        JOIN (SELECT 's' AS step UNION ALL SELECT 'd') p ON 1 = 1
        WHERE up.generation < %s
          AND CASE p.step WHEN 's' THEN d.sire_id ELSE d.dam_id END IS NOT NULL
    )
    SELECT up.line, d.id, d.public_id, d.name, d.sex, d.born_on, b.name
    FROM up
    JOIN registry_dog d ON d.id = up.id
    JOIN registry_breed b ON b.id = d.breed_id
"""
_VALUES = """
    SELECT v.dog_id, v.trait_id, v.step
    FROM registry_countedvalue v
    JOIN registry_evaluation e ON e.id = v.evaluation_id
    WHERE v.dog_id IN ({marks}) AND v.counted_until IS NULL AND e.consent_to_publish
"""
_STEPS = {"s": "sire", "d": "dam"}


def ancestors_of(dog: PublicDog, traits: Sequence[PublicTrait]) -> tuple[Ancestor, ...]:
    """The known ancestors up to the great-grandparents with the released values of these traits,
    parents first and sires before dams: one query, or two."""
    with connection.cursor() as cursor:
        cursor.execute(_UP, [dog.pk, dog.pk, GENERATIONS])
        rows = cursor.fetchall()
    values = _values(sorted({row[1] for row in rows}), traits)
    found = [
        Ancestor(
            line=tuple(_STEPS[step] for step in row[0]),
            public_id=row[2],
            name=row[3],
            sex=row[4],
            born_on=as_date(row[5]),
            breed=row[6],
            values=values.get(row[1], ()),
        )
        for row in rows
    ]
    return tuple(
        sorted(found, key=lambda each: (len(each.line), [PARENTS.index(s) for s in each.line]))
    )


def _values(
    pks: Sequence[int], traits: Sequence[PublicTrait]
) -> dict[int, tuple[ReleasedValue, ...]]:
    if not pks:
        return {}
    with connection.cursor() as cursor:
        # Only marks are put in, as many as there are keys.
        cursor.execute(_VALUES.format(marks=", ".join(["%s"] * len(pks))), list(pks))
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    steps = {(row[0], row[1]): row[2] for row in rows}
    return {
        pk: tuple(
            ReleasedValue(trait, steps[pk, trait.pk]) for trait in traits if (pk, trait.pk) in steps
        )
        for pk in pks
    }
