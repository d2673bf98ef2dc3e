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
from registry.queries.public import Row, as_date
from registry.science.distribution import Histogram, first_month


@dataclass(frozen=True, slots=True)
class BreedCounts:
    """Counts by trait id, both sexes together, over the months of the window (both ends in)."""

    by_trait: dict[int, Histogram]
    first_month: date
    last_month: date

    def of(self, trait_id: int) -> Histogram:
        """The counts of a trait; empty when no dog of the breed has it."""
        return self.by_trait.get(trait_id) or Histogram.empty()


_ROWS = (
    "SELECT trait_id, last_month, window_months, packed FROM registry_storedhistogram"
    " WHERE breed_id = %s ORDER BY trait_id, sex"
)


def breed_counts(breed_id: int, *, window_months: int, now: datetime) -> BreedCounts:
    """Today's counts of every trait of a breed; one query, more only on a month's first days."""
    return counts_from(
        count_rows(breed_id), breed_id=breed_id, window_months=window_months, now=now
    )


def count_rows(breed_id: int) -> tuple[Row, ...]:
    """The breed's packed counts, one row a trait and sex: one query."""
    with connection.cursor() as cursor:
        cursor.execute(_ROWS, [breed_id])
        return tuple((*row[:3], bytes(row[3])) for row in cursor.fetchall())


def counts_from(
    rows: Sequence[Row], *, breed_id: int, window_months: int, now: datetime
) -> BreedCounts:
    """The counts that the rows hold; from the cells where a row's window has slid away."""
    last_month = timezone.localdate(now).replace(day=1)
    counts: dict[int, Histogram] = {}
    outdated: set[int] = set()
    for trait_id, month, months, packed in rows:
        if (as_date(month), months) != (last_month, window_months):
            outdated.add(trait_id)
            continue
        part = Histogram.unpack(packed)
        counts[trait_id] = counts[trait_id].merge(part) if trait_id in counts else part
    for trait_id in outdated:
        counts[trait_id] = histogram_now(
            breed=Breed.objects.get(pk=breed_id), trait=Trait.objects.get(pk=trait_id)
        )
    return BreedCounts(counts, first_month(last_month, window_months), last_month)
