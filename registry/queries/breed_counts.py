"""All of a breed's public counts of today in one narrow query, for the pages that open most often.

The same numbers as ``distributions.distribution``. Whoever keeps the registry has exact counts, in
``distributions.histogram_now``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db import connection

from registry.queries.clinic_effects import LATEST_CLINICS, effects_from
from registry.queries.held_values import IS_HELD, held_parameters
from registry.queries.public import Row
from registry.queries.public_states import in_force, month_of
from registry.queries.within_dogs import WithinDog, within_dogs_of
from registry.science.distribution import Histogram, first_month
from registry.science.middles import ClinicEffect


@dataclass(frozen=True, slots=True)
class BreedCounts:
    """Public counts by trait id, both sexes, over the months of the window (both ends in).

    ``held`` are the (trait id, evaluation id) asked about that are in the counts, ``state_at`` the
    moments since when these counts are public. ``within`` says how far repeated examinations of
    one dog differ, where that is known and was asked for, and ``clinics`` how far the clinics do.
    """

    by_trait: dict[int, Histogram]
    first_month: date
    last_month: date
    held: frozenset[tuple[int, int]] = frozenset()
    state_at: Mapping[int, datetime] = field(default_factory=dict)
    within: Mapping[int, WithinDog] = field(default_factory=dict)
    clinics: Mapping[int, tuple[ClinicEffect, ...]] = field(default_factory=dict)

    def of(self, trait_id: int) -> Histogram:
        """The counts of a trait; empty when no dog of the breed has it."""
        return self.by_trait.get(trait_id) or Histogram.empty()

    def holds(self, trait_id: int, evaluation_id: int) -> bool:
        """Whether this evaluation's value of the trait is one of those counted in ``of``.

        Answers for the evaluation that was named when the counts were read. Where it holds, the
        others are what is left when the value is taken away once; where not, all are others.
        """
        return (trait_id, evaluation_id) in self.held


_ROWS = (
    "SELECT s.trait_id, s.settled_month, s.at, s.females, s.males,"  # noqa: S608 - our own words
    f" s.next_at, s.next_females, s.next_males, {LATEST_CLINICS}, {IS_HELD},"
    " (SELECT h.hash FROM registry_ledgerhead h WHERE h.id = 1)"
    " FROM registry_publicstate s WHERE s.breed_id = %s ORDER BY s.trait_id"
)


def breed_counts(
    breed_id: int,
    *,
    window_months: int,
    now: datetime,
    evaluation_id: int | None = None,
    with_within: bool = False,
) -> BreedCounts:
    """Today's counts of every trait of a breed; one query, more only on a month's first days and
    after a change for ``with_within``.

    ``evaluation_id`` names the evaluation (by key) that ``holds`` will be asked about;
    ``with_within`` asks for ``within``, which no deed may.
    """
    rows = count_rows(breed_id, now=now, evaluation_id=evaluation_id, with_within=with_within)
    return counts_from(rows, window_months=window_months, now=now, evaluation_id=evaluation_id)


def count_rows(
    breed_id: int, *, now: datetime, evaluation_id: int | None = None, with_within: bool = False
) -> tuple[Row, ...]:
    """The breed's public states in force, one row a trait: its moment, packed females and males,
    whether it holds the evaluation's value, how far repeated examinations of one dog differ, and
    how far the clinics do, as JSON. One query, and one more for repeated examinations where the
    register has changed since it was asked."""
    asked = held_parameters(evaluation_id, at=now)
    with connection.cursor() as cursor:
        cursor.execute(_ROWS, [*asked, breed_id])
        rows = cursor.fetchall()
    within = within_dogs_of(rows[0][-1]) if rows and with_within else {}
    return tuple(
        (*in_force(breed_id, row[:-3], now), bool(row[-2]), within.get(row[0]), row[-3])
        for row in rows
    )


def counts_from(
    rows: Sequence[Row], *, window_months: int, now: datetime, evaluation_id: int | None = None
) -> BreedCounts:
    """The counts that the rows hold."""
    last_month = month_of(now)
    held = (
        frozenset()
        if evaluation_id is None
        else frozenset((row[0], evaluation_id) for row in rows if row[4])
    )
    return BreedCounts(
        {row[0]: Histogram.unpack(row[2]).merge(Histogram.unpack(row[3])) for row in rows},
        first_month(last_month, window_months),
        last_month,
        held,
        {row[0]: row[1] for row in rows if row[1] is not None},
        {row[0]: row[5] for row in rows if row[5] is not None},
        {row[0]: effects_from(row[6]) for row in rows},
    )
