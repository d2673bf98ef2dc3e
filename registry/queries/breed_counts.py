"""All of a breed's counts of today in one narrow query, for the pages that open most often.

The same numbers as ``distributions.histogram_now``, which answers where a row's window has slid
away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import connection
from django.utils import timezone

from registry.models import Breed, Trait
from registry.queries.distributions import histogram_now
from registry.queries.held_values import IS_HELD, held_parameters
from registry.queries.public import Row, as_date
from registry.science.distribution import Histogram, first_month


@dataclass(frozen=True, slots=True)
class BreedCounts:
    """Counts by trait id, both sexes together, over the months of the window (both ends in).

    ``held`` are the (trait id, evaluation id) asked about that are in the counts.
    """

    by_trait: dict[int, Histogram]
    first_month: date
    last_month: date
    held: frozenset[tuple[int, int]] = frozenset()

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
    f"SELECT s.trait_id, s.last_month, s.window_months, s.packed, {IS_HELD}"  # noqa: S608
    " FROM registry_storedhistogram s WHERE s.breed_id = %s ORDER BY s.trait_id, s.sex"
)


def breed_counts(
    breed_id: int, *, window_months: int, now: datetime, evaluation_id: int | None = None
) -> BreedCounts:
    """Today's counts of every trait of a breed; one query, more only on a month's first days.

    ``evaluation_id`` names the evaluation (by key) that ``holds`` will be asked about.
    """
    rows = count_rows(breed_id, window_months=window_months, now=now, evaluation_id=evaluation_id)
    return counts_from(
        rows,
        breed_id=breed_id,
        window_months=window_months,
        now=now,
        evaluation_id=evaluation_id,
    )


def count_rows(
    breed_id: int, *, window_months: int, now: datetime, evaluation_id: int | None = None
) -> tuple[Row, ...]:
    """The breed's packed counts, one row a trait and sex, each with whether it holds the
    evaluation's value: one query."""
    asked = held_parameters(evaluation_id, window_months=window_months, at=now)
    with connection.cursor() as cursor:
        cursor.execute(_ROWS, [*asked, breed_id])
        return tuple((*row[:3], bytes(row[3]), bool(row[4])) for row in cursor.fetchall())


def counts_from(
    rows: Sequence[Row],
    *,
    breed_id: int,
    window_months: int,
    now: datetime,
    evaluation_id: int | None = None,
) -> BreedCounts:
    """The counts that the rows hold; from the cells where a row's window has slid away."""
    last_month = timezone.localdate(now).replace(day=1)
    counts: dict[int, Histogram] = {}
    outdated: set[int] = set()
    for trait_id, month, months, packed, _is_held in rows:
        if (as_date(month), months) != (last_month, window_months):
            outdated.add(trait_id)
            continue
        part = Histogram.unpack(packed)
        counts[trait_id] = counts[trait_id].merge(part) if trait_id in counts else part
    for trait_id in outdated:
        counts[trait_id] = histogram_now(
            breed=Breed.objects.get(pk=breed_id), trait=Trait.objects.get(pk=trait_id)
        )
    held = (
        frozenset()
        if evaluation_id is None
        else frozenset((row[0], evaluation_id) for row in rows if row[4])
    )
    return BreedCounts(counts, first_month(last_month, window_months), last_month, held)
