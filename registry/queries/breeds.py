"""The breeds' counts for the public pages: who is counted, by month of the exam and by sex; and by
clinic for registrars.

Accepted evaluations count whether or not they are released, so nothing here names a dog, and all
but ``by_clinic`` is of the public state. A value that came in with others has no month here: the
months would tell its group apart again. Reads only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Q, QuerySet

from registry import clock
from registry.models import Breed, CountedValue, Trait
from registry.queries.distributions import Distribution
from registry.queries.public_states import State, states_now
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
    """Dogs of one sex, examined in one month, with one value (in steps); without a month, dogs
    whose values came in together."""

    sex: str
    month: date | None
    step: int
    dogs: int


def breed_lines() -> list[BreedLine]:
    """All breeds by name with their tested dogs of today's windows, as last counted."""
    traits = list(Trait.objects.filter(is_counted=True))
    states = states_now(now=clock.now())
    return [
        BreedLine(
            breed.name,
            breed.slug,
            breed.registered,
            tuple((trait, _tested(states.get((breed.pk, trait.pk)))) for trait in traits),
        )
        for breed in Breed.objects.annotate(registered=Count("dogs")).order_by("name")
    ]


def _tested(state: State | None) -> int:
    return state.of().n if state else 0


def cells_of(breed: Breed, trait: Trait, within: Distribution) -> list[Cell]:
    """The cells of a public distribution, as of its instant, in a fixed order."""
    alone, together = _public(breed, trait, within.as_of)
    dogs = Count("id")
    known = alone.values_list("sex", "month", "step").annotate(dogs=dogs)
    unknown = together.values_list("sex", "step").annotate(dogs=dogs)
    return [
        *(Cell(*row) for row in known.order_by("month", "sex", "step")),
        *(Cell(sex, None, step, dogs) for sex, step, dogs in unknown.order_by("sex", "step")),
    ]


def by_month(breed: Breed, trait: Trait) -> tuple[dict[date, Histogram], Histogram]:
    """Today's public counts, both sexes, for the explorer: by month of the exam; and apart, what
    came in with others."""
    alone, together = _public(breed, trait, clock.now())
    rows = alone.values_list("month", "step").annotate(total=Count("id")).order_by("month", "step")
    return _histograms(rows), Histogram.of_steps(together.values_list("step", flat=True))


def _public(
    breed: Breed, trait: Trait, as_of: datetime
) -> tuple[QuerySet[CountedValue], QuerySet[CountedValue]]:
    """The values of the public state of an instant: those that came in alone, and with others."""
    rows = CountedValue.objects.filter(
        Q(public_until__isnull=True) | Q(public_until__gt=as_of),
        breed=breed,
        trait=trait,
        public_from__lte=as_of,
    )
    return rows.filter(came_in_group=False), rows.filter(came_in_group=True)


def by_clinic(breed: Breed, trait: Trait) -> dict[str, Histogram]:
    """Today's exact counts of all time by clinic, for registrars only: it can point at a clinic."""
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
