"""The breeds' counts for the public pages: who is counted, in monthly cells, by sex and by clinic.

Accepted evaluations count whether or not they are released, so nothing here names a dog, and the
cells of a breed are only ever given as counts. Reads only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, Sum

from registry.models import Breed, CountedValue, DistributionCell, StoredHistogram, Trait
from registry.queries.distributions import Distribution
from registry.science.distribution import Histogram


@dataclass(frozen=True, slots=True)
class BreedLine:
    """A breed in the list: its dogs in the register, and per trait its tested dogs."""

    name: str
    slug: str
    dogs: int
    traits: tuple[tuple[Trait, int], ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """Dogs of one sex, examined in one month, with one value (in steps)."""

    sex: str
    month: date
    step: int
    dogs: int


def breed_lines() -> list[BreedLine]:
    """All breeds by name with their tested dogs of today's windows, as last counted."""
    traits = list(Trait.objects.filter(is_counted=True))
    tested: dict[tuple[int, int], int] = {
        (breed_id, trait_id): dogs
        for breed_id, trait_id, dogs in StoredHistogram.objects.values_list(
            "breed_id", "trait_id"
        ).annotate(total=Sum("dogs"))
    }
    return [
        BreedLine(
            breed.name,
            breed.slug,
            breed.registered,
            tuple((trait, tested.get((breed.pk, trait.pk), 0)) for trait in traits),
        )
        for breed in Breed.objects.annotate(registered=Count("dogs")).order_by("name")
    ]


def cells_of(breed: Breed, trait: Trait, within: Distribution) -> list[Cell]:
    """The monthly cells of a distribution's window, as of its instant, in a fixed order.

    Taken from the intervals in which values counted, so that a past day is answered exactly.
    """
    rows = (
        CountedValue.objects.filter(breed=breed, trait=trait, counted_from__lte=within.as_of)
        .exclude(counted_until__lte=within.as_of)
        .filter(month__gte=within.first_month, month__lte=within.last_month)
        .values_list("sex", "month", "step")
        .annotate(dogs=Count("id"))
        .order_by("month", "sex", "step")
    )
    return [Cell(*row) for row in rows]


def by_month(breed: Breed, trait: Trait) -> dict[date, Histogram]:
    """Today's counts of all time by month of examination, both sexes, for the explorer."""
    rows = (
        DistributionCell.objects.filter(breed=breed, trait=trait, dogs__gt=0)
        .values_list("month", "step")
        .annotate(total=Sum("dogs"))
        .order_by("month", "step")
    )
    return _histograms(rows)


def by_clinic(breed: Breed, trait: Trait) -> dict[str, Histogram]:
    """Today's counts of all time by clinic, for registrars only: it can point at a clinic."""
    rows = (
        CountedValue.objects.filter(breed=breed, trait=trait, counted_until__isnull=True)
        .values_list("evaluation__clinic__name", "step")
        .annotate(total=Count("id"))
        .order_by("evaluation__clinic__name", "step")
    )
    return _histograms(rows)


def _histograms(rows: Iterable[tuple[Any, int, int]]) -> dict[Any, Histogram]:
    """Histograms by the rows' first column, in the order in which it comes."""
    counts: dict[Any, list[tuple[int, int]]] = {}
    for key, step, dogs in rows:
        counts.setdefault(key, []).append((step, dogs))
    return {key: Histogram.of_counts(pairs) for key, pairs in counts.items()}
