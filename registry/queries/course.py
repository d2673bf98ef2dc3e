"""A breed's course as its latest run stored it, and what parents and tests there are today.

The stored course becomes the values of ``registry.science`` again, number for number: pages, the
CSV file and the interface all read it here. The numbers of today are the starting point of a look
ahead. Reads only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, Q, QuerySet

from registry.models import Dog, Sex, Trait
from registry.queries.breeding import (
    RunFacts,
    TraitFacts,
    TraitWithout,
    latest_run,
    run_table,
    trend_of,
)
from registry.science.diversity import EffectiveSize
from registry.science.missing_parents import UnknownParents
from registry.science.trend import Line, Mean, Trend, Year

GENERATION_YEARS = 4
"""The years of birth that are taken together as one generation: common practice, no source."""

FEWEST_PARENTS = 20
"""With fewer it is not told how the parents of today are chosen: as few as are not compared."""


@dataclass(frozen=True, slots=True)
class SizeToday:
    """The effective population size by the dogs born from ``first_year`` to ``last_year``."""

    size: EffectiveSize
    first_year: int
    last_year: int


@dataclass(frozen=True, slots=True)
class Course:
    """A breed's course in one trait, with the run that found it.

    ``unknown`` says how many parents are not known, None in a run that did not ask; where they are
    too many there is no size and no line.
    """

    run: RunFacts
    facts: TraitFacts
    trend: Trend
    size: SizeToday | None
    unknown: UnknownParents | None

    @property
    def last_year(self) -> Year | None:
        """The last year of birth with enough dogs for a mean breeding value."""
        return next((year for year in reversed(self.trend.years) if year.value is not None), None)


@dataclass(frozen=True, slots=True)
class NoCourse:
    """Why there is none: no run yet, or a run without breeding values of the trait."""

    run: RunFacts | None
    without: TraitWithout | None


@dataclass(frozen=True, slots=True)
class ParentsToday:
    """What was born in one generation up to a year, and how many parents it has."""

    females: int
    males: int
    dams: int
    sires: int


def course_of(breed_pk: int, trait_slug: str) -> Course | NoCourse:
    """The course that the breed's latest run found, or why there is none."""
    run = latest_run(breed_pk)
    if run is None:
        return NoCourse(None, None)
    facts = run.facts_of(trait_slug)
    if facts is None:
        found = (each for each in run.without if each.trait.slug == trait_slug)
        return NoCourse(run, next(found, None))
    stored = trend_of(run.pk, facts.trait.pk)
    unknown = stored.get("unknown_parents")
    return Course(
        run,
        facts,
        _trend(stored),
        _size(stored.get("effective_size")),
        UnknownParents(**unknown) if unknown else None,
    )


def scale_ends(trait_pk: int) -> tuple[float, float]:
    """The lowest and the highest value that the trait's scale has."""
    lowest, highest = Trait.objects.values_list("lowest", "highest").get(pk=trait_pk)
    return float(lowest), float(highest)


def parents_today(breed_pk: int, last_year: int) -> ParentsToday:
    """The dogs born in the generation up to the end of a year, and their different parents."""
    found = _born_until(breed_pk, last_year).aggregate(
        females=Count("pk", filter=Q(sex=Sex.FEMALE)),
        males=Count("pk", filter=Q(sex=Sex.MALE)),
        dams=Count("dam", distinct=True),
        sires=Count("sire", distinct=True),
    )
    return ParentsToday(**found)


def parents_ahead(course: Course, last_year: int) -> float | None:
    """By how much the parents of those born in the generation up to a year exceeded, in breeding
    values, the dogs born in their own years; half from sires and half from dams, each puppy counts.

    A parent of a year without a mean, or that came after the run, is left out. None where fewer
    than ``FEWEST_PARENTS`` of either sex remain: one parent's own value would shine through.
    """
    means = {year.year: year.value.mean for year in course.trend.years if year.value is not None}
    sires = _ahead_of_their_years(course, last_year, "sire", means)
    dams = _ahead_of_their_years(course, last_year, "dam", means)
    return None if sires is None or dams is None else (sires + dams) / 2


def _ahead_of_their_years(
    course: Course, last_year: int, role: str, means: Mapping[int, float]
) -> float | None:
    table = run_table(course.run.pk)
    rows = list(
        _born_until(course.run.breed_pk, last_year)
        .filter(**{f"{role}__isnull": False})
        .values_list(role, f"{role}__born_on")
        .annotate(puppies=Count("pk"))
        .order_by()
    )
    places = table.places_of([pk for pk, _born, _puppies in rows])
    values = table.value(course.facts.trait.pk)
    found = [
        (float(values[place]) - means[born.year], puppies)
        for (_pk, born, puppies), place in zip(rows, places, strict=True)
        if place >= 0 and born is not None and born.year in means
    ]
    if len(found) < FEWEST_PARENTS:
        return None
    total: float = sum(ahead * puppies for ahead, puppies in found)
    return float(total / sum(puppies for _ahead, puppies in found))


def _born_until(breed_pk: int, last_year: int) -> QuerySet[Dog]:
    """The dogs of one generation: those born in the years up to the end of one."""
    return Dog.objects.filter(
        breed_id=breed_pk,
        born_on__gt=date(last_year - GENERATION_YEARS, 12, 31),
        born_on__lte=date(last_year, 12, 31),
    )


def _trend(stored: Mapping[str, Any]) -> Trend:
    line = stored.get("line")
    return Trend(
        years=tuple(
            Year(**{**year, "record": _mean(year["record"]), "value": _mean(year["value"])})
            for year in stored.get("years", ())
        ),
        line=Line(**line) if line else None,
        left_out=tuple(stored.get("left_out", ())),
        without_year=0,
    )


def _mean(stored: Mapping[str, float] | None) -> Mean | None:
    return Mean(**stored) if stored else None


def _size(stored: Mapping[str, Any] | None) -> SizeToday | None:
    """JSON holds no infinite number: where no dog is inbred the size stands as nothing."""
    if not stored:
        return None
    told = dict(stored)
    first, last = told.pop("first_year"), told.pop("last_year")
    numbers: dict[str, Any] = {
        name: math.inf if value is None else value for name, value in told.items()
    }
    return SizeToday(EffectiveSize(**numbers), first, last)
