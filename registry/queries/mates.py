"""Candidate mates of a dog, ranked by what their litter is expected to be.

The numbers are those of the breed's latest run, over all candidates at once; who is alive, of age,
and whose result is released is asked of the register as it is today. Names are fetched for the
dogs that are shown and for no others. One pair is ``pairs``'. Reads only; the words are
``registry.telling.breeding``'s.
"""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from registry.queries.breeding import (
    DogValue,
    RunFacts,
    RunTable,
    TraitFacts,
    dog_value,
    run_table,
    withheld_traits,
)
from registry.queries.dogs_today import DogsToday, dogs_today
from registry.queries.pairs import NoAnswer, Why, litter_of, run_of
from registry.queries.public import PublicDog, ReleasedValue, Row, as_date
from registry.queries.released import released_values
from registry.science.folding import fold
from registry.science.grade_forecast import GradeForecast
from registry.science.kinship import kinship_with
from registry.science.litter import Forecast

MOST_KINSHIP = 0.0625
YOUNGEST_MONTHS = 18
OLDEST_MONTHS = {"M": 120, "F": 96}
"""Common practice, no source; the club's rules decide."""
OLDEST_LIVING_YEARS = 15
"""Without a day of death on record, a dog born longer ago does not count as alive."""
PER_PAGE = 25
_LONGEST_NAME = 120


@dataclass(frozen=True, slots=True)
class MateWishes:
    """What a breeder asks of a mate; None is no limit. ``no_worse_than_middle`` asks for an own
    released result no worse than that of the breed's middle dog."""

    most_kinship: float | None = MOST_KINSHIP
    only_tested: bool = False
    no_worse_than_middle: bool = False
    youngest_months: int | None = YOUNGEST_MONTHS
    oldest_months: int | None = None
    name: str = ""

    @classmethod
    def usual_for(cls, dog: PublicDog) -> MateWishes:
        """What is asked of this dog's mates when nothing else is said."""
        return cls(oldest_months=OLDEST_MONTHS["F" if dog.sex == "M" else "M"])


@dataclass(frozen=True, slots=True)
class Mate:
    """One candidate. ``behind`` is by how much the litter's middle is expected to lie behind that
    of the list's first candidate, in the trait's unit (of a grade: on the liability) and 0 or more;
    ``is_close`` says that this is less than its own standard error; the first is not compared with
    itself (``is_first``)."""

    public_id: str
    name: str
    born_on: date
    released: ReleasedValue | None
    value: DogValue
    kinship: float
    forecast: Forecast | GradeForecast
    behind: float
    is_close: bool
    is_first: bool


@dataclass(frozen=True, slots=True)
class MatesFound:
    """A stretch of the list, by expected litter unless ``facts`` are not ranked: then the least
    related come first. ``matching`` of ``total`` candidates meet the wishes; ``close`` besides the
    first are too close to it to tell; ``withheld`` are left out, as their owners have not
    released the result."""

    run: RunFacts
    facts: TraitFacts
    own: DogValue
    rows: tuple[Mate, ...]
    first: int
    matching: int
    total: int
    close: int
    withheld: int


@dataclass(frozen=True, slots=True)
class _Ranked:
    """Candidates that meet the wishes, best litter first: their places in the run and kinships."""

    places: NDArray[np.int64]
    kinships: NDArray[np.float64]
    total: int
    withheld: int


def mates(
    dog: PublicDog,
    *,
    trait: str,
    wishes: MateWishes,
    today: date,
    first: int = 0,
    most: int = PER_PAGE,
    run: RunFacts | None = None,
) -> MatesFound:
    """Candidates for the dog from number ``first`` on (0 is the best litter's); past the end, the
    last of them. ``run`` spares reading the breed's latest run again.

    Raises NoAnswer when the dog or the trait has no breeding value that may be used.
    """
    if dog.sex == "F" and dog.died_on is not None:
        raise NoAnswer(Why.DEAD_DAM, dog)
    run = run or run_of(dog)
    facts = run.facts_of(trait)
    if facts is None:
        raise NoAnswer(Why.NO_VALUES)
    table = run_table(run.pk)
    place = table.place_of(dog.pk)
    if place is None:
        raise NoAnswer(Why.AFTER_RUN, dog)
    if facts.trait.pk in withheld_traits(dog.pk):
        raise NoAnswer(Why.WITHHELD, dog)
    found = _ranked(dog, facts, wishes, today, table)
    behind, is_close = _behind_the_first(found.places, facts, table)
    own = dog_value(table, facts, place, is_withheld=False)
    if first >= len(found.places):
        first = max(len(found.places) - 1, 0) // most * most
    shown = range(len(found.places))[first : first + most]
    dogs = table.dog[found.places[shown.start : shown.stop]].tolist()
    named, released = _named(dogs), released_values(dogs, [facts.trait])
    rows = []
    for at in shown:
        who = named[int(table.dog[found.places[at]])]
        value = dog_value(table, facts, int(found.places[at]), is_withheld=False)
        sire, dam = (own, value) if dog.sex == "M" else (value, own)
        kinship = float(found.kinships[at])
        rows.append(
            Mate(
                public_id=who[1],
                name=who[2],
                born_on=as_date(who[3]),
                released=next(iter(released[who[0]]), None),
                value=value,
                kinship=kinship,
                forecast=litter_of(sire, dam, kinship),
                behind=float(behind[at]),
                is_close=bool(is_close[at]),
                is_first=at == 0,
            )
        )
    return MatesFound(
        run=run,
        facts=facts,
        own=own,
        rows=tuple(rows),
        first=first,
        matching=len(found.places),
        total=found.total,
        close=int(is_close.sum()),
        withheld=found.withheld,
    )


def is_alive(born_on: date, died_on: date | None, today: date) -> bool:
    """Whether the dog counts as alive: no day of death, and not born too long ago."""
    return died_on is None and born_on > months_before(today, 12 * OLDEST_LIVING_YEARS)


def months_before(day: date, months: int) -> date:
    """The same day of the month so many months earlier; the month's last where it is shorter."""
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _ranked(
    dog: PublicDog, facts: TraitFacts, wishes: MateWishes, today: date, table: RunTable
) -> _Ranked:
    register = dogs_today(dog.breed_id, table)
    flags = register.flags(facts.trait.pk)
    is_alive = ~register.is_dead
    is_alive &= register.born > np.datetime64(months_before(today, 12 * OLDEST_LIVING_YEARS))
    is_other_sex = register.is_male != (dog.sex == "M")
    is_candidate = register.is_of_breed & is_other_sex & is_alive
    withheld = int((is_candidate & flags.hidden).sum())
    is_candidate &= ~flags.hidden
    total = int(is_candidate.sum())
    _keep_those_of_age(is_candidate, register, wishes, today)
    if wishes.only_tested or wishes.no_worse_than_middle:
        record = table.record(facts.trait.pk)
        is_candidate &= flags.released & ~np.isnan(record)
        if wishes.no_worse_than_middle:
            is_candidate &= _goodness(record, facts) >= _goodness(facts.middle, facts)
    places = np.flatnonzero(is_candidate)
    if wishes.name.strip():
        named = table.places_of(np.array(_dogs_named(wishes.name, dog.breed_id), dtype=np.int64))
        places = np.intersect1d(places, named, assume_unique=True)
    place = table.place_of(dog.pk)
    kinships = kinship_with(table.pedigree, table.inbreeding, place or 0, places)
    if wishes.most_kinship is not None:
        # What is asked for is written with few decimals, what is computed has many.
        is_near = kinships > wishes.most_kinship + 1e-9
        places, kinships = places[~is_near], kinships[~is_near]
    # Equal values: the less related first, then the one registered first.
    value = table.value(facts.trait.pk)[places] if facts.is_ranked else np.zeros(len(places))
    order = np.lexsort((kinships, -_goodness(value, facts)))
    return _Ranked(places[order], kinships[order], total, withheld)


def _keep_those_of_age(
    is_candidate: NDArray[np.bool_], register: DogsToday, wishes: MateWishes, today: date
) -> None:
    if wishes.youngest_months is not None:
        latest = months_before(today, wishes.youngest_months)
        is_candidate &= register.born <= np.datetime64(latest)
    if wishes.oldest_months is not None:
        earliest = months_before(today, wishes.oldest_months)
        is_candidate &= register.born >= np.datetime64(earliest)


def _behind_the_first(
    places: NDArray[np.int64], facts: TraitFacts, table: RunTable
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """By how much each litter's expected middle lies behind the first one's, and whether that is
    less than the difference's own standard error.

    Half the difference of two breeding values, and half of the square root of their summed error
    variances: the mate is one of two parents. Errors of related candidates go together, which makes
    the true error smaller; this says "too close to tell" rather too often than too seldom.
    """
    if not facts.is_ranked:
        return np.zeros(len(places)), np.zeros(len(places), dtype=np.bool_)
    pk = facts.trait.pk
    goodness = _goodness(table.value(pk)[places], facts)
    error = table.error_variance(pk)[places]
    behind = (goodness[:1] - goodness) / 2
    is_close = behind <= np.sqrt(error[:1] + error) / 2
    is_close[:1] = False
    return behind, is_close


def _goodness(value: Any, facts: TraitFacts) -> Any:
    """The value turned so that more is better."""
    return -value if facts.trait.better == "lower" else value


def _named(dogs: list[int]) -> dict[int, Row]:
    """Id, name and day of birth of some dogs, by key: one query."""
    if not dogs:
        return {}
    marks = ", ".join(["%s"] * len(dogs))
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT id, public_id, name, born_on FROM registry_dog WHERE id IN ({marks})",  # noqa: S608
            dogs,
        )
        return {row[0]: row for row in cursor.fetchall()}


def _dogs_named(text: str, breed_pk: int) -> list[int]:
    """The dogs of the breed in whose folded names every word of the text stands, in any order."""
    words = fold(text[:_LONGEST_NAME].replace("\x00", "")).split()
    if not words:
        return []
    # Folded words have no sign that LIKE or the index could take for an operator.
    likes = " AND d.search_name LIKE %s" * len(words)
    parameters: list[str | int] = [breed_pk, *(f"%{word}%" for word in words)]
    long_ones = [word for word in words if len(word) >= 3]
    indexed = ""
    if connection.vendor == "sqlite" and long_ones:
        # The trigram index narrows the search, so that not every name of the breed is read.
        indexed = (
            " AND d.id IN (SELECT rowid FROM registry_dogname WHERE registry_dogname MATCH %s)"
        )
        parameters.append(" AND ".join(f'"{word}"' for word in long_ones))
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT d.id FROM registry_dog d WHERE d.breed_id = %s{likes}{indexed}",  # noqa: S608
            parameters,
        )
        return [pk for (pk,) in cursor.fetchall()]
