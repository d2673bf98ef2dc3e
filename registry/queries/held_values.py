"""Whether the counts that the public sees hold a given evaluation's value of a trait.

Whoever says where a dog stands among the others must know whether the dog itself is among the dogs
counted: a value waits before it comes in, and stays a while after it stopped counting. Reads only.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db.models import Q

from registry.models import CountedValue
from registry.queries.public_states import IS_PUBLIC, sql_instant

IS_HELD = (
    "EXISTS (SELECT 1 FROM registry_countedvalue v WHERE v.evaluation_id = %s"  # noqa: S608
    f" AND v.trait_id = s.trait_id AND {IS_PUBLIC})"
)
"""Column beside a breed's public states ``s``; its parameters are ``held_parameters``."""


def held_parameters(evaluation_id: int | None, *, at: datetime) -> list[Any]:
    """What ``IS_HELD`` asks for; without an evaluation nothing is held."""
    instant = sql_instant(at)
    return [evaluation_id, instant, instant]


def held_values(evaluation_ids: Iterable[int], *, at: datetime) -> frozenset[tuple[int, int]]:
    """The (trait id, evaluation id) whose values the public state of the instant holds."""
    rows = CountedValue.objects.filter(
        Q(public_until__isnull=True) | Q(public_until__gt=at),
        evaluation__in=list(evaluation_ids),
        public_from__lte=at,
    )
    return frozenset(rows.values_list("trait_id", "evaluation_id"))


def other_values_of_dog(evaluation_id: int, *, at: datetime) -> tuple[tuple[int, int], ...]:
    """The (trait id, step) by which other evaluations of the same dog are in the public state of
    the instant. Only released ones: a value that is not shown would be told by taking it out."""
    rows = CountedValue.objects.filter(
        Q(public_until__isnull=True) | Q(public_until__gt=at),
        dog__evaluations=evaluation_id,
        public_from__lte=at,
        evaluation__consent_to_publish=True,
    ).exclude(evaluation=evaluation_id)
    return tuple(rows.order_by("trait_id", "step").values_list("trait_id", "step"))
