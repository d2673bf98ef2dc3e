"""Whether the counts that the public sees hold a given evaluation's value of a trait.

Whoever says where a dog stands among the others must know whether the dog itself is among the dogs
counted: a value waits before it comes in, and stays a while after it stopped counting. Reads only.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import connection
from django.db.models import Q
from django.utils import timezone

from registry.models import CountedValue
from registry.science.distribution import first_month

IS_HELD = (
    "EXISTS (SELECT 1 FROM registry_countedvalue v WHERE v.evaluation_id = %s"
    " AND v.trait_id = s.trait_id AND v.counted_from <= %s"
    " AND (v.counted_until IS NULL OR v.counted_until > %s) AND v.month >= %s)"
)
"""Column beside a breed's stored counts ``s``; its parameters are ``held_parameters``."""


def held_parameters(evaluation_id: int | None, *, window_months: int, at: datetime) -> list[Any]:
    """What ``IS_HELD`` asks for; without an evaluation nothing is held."""
    instant = connection.ops.adapt_datetimefield_value(at)
    start = connection.ops.adapt_datefield_value(_start(window_months, at))
    return [evaluation_id, instant, instant, start]


def held_values(
    evaluation_ids: Iterable[int], *, window_months: int, at: datetime
) -> frozenset[tuple[int, int]]:
    """The (trait id, evaluation id) whose values the breed's counts hold at the instant."""
    rows = CountedValue.objects.filter(
        Q(counted_until__isnull=True) | Q(counted_until__gt=at),
        evaluation__in=list(evaluation_ids),
        counted_from__lte=at,
        month__gte=_start(window_months, at),
    )
    return frozenset(rows.values_list("trait_id", "evaluation_id"))


def _start(window_months: int, at: datetime) -> date:
    return first_month(timezone.localdate(at).replace(day=1), window_months)
