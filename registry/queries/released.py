"""The values that count for some dogs today and whose owners agreed to show them: one query.

Reads only. The whole result of one dog is ``public_dogs``'; a family's values are ``public``'s.
"""

from __future__ import annotations

from collections.abc import Sequence

from django.db import connection

from registry.queries.public import PublicTrait, ReleasedValue


def released_values(
    dog_pks: Sequence[int], traits: Sequence[PublicTrait]
) -> dict[int, tuple[ReleasedValue, ...]]:
    """Each dog's released values in the order of the traits; nothing for a dog without."""
    if not dog_pks:
        return {}
    marks = ", ".join(["%s"] * len(dog_pks))
    with connection.cursor() as cursor:
        cursor.execute(_RELEASED.format(marks=marks), list(dog_pks))
        found = {(dog, trait): (step, exam) for dog, trait, step, exam in cursor.fetchall()}
    return {
        dog: tuple(
            ReleasedValue(trait, *found[dog, trait.pk])
            for trait in traits
            if (dog, trait.pk) in found
        )
        for dog in dog_pks
    }


_RELEASED = (
    "SELECT v.dog_id, v.trait_id, v.step, v.evaluation_id FROM registry_countedvalue v"
    " JOIN registry_evaluation e ON e.id = v.evaluation_id AND e.consent_to_publish"
    " WHERE v.counted_until IS NULL AND v.dog_id IN ({marks})"
)
