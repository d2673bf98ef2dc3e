"""A breed with a stored course by year of birth, its numbers written by hand."""

from __future__ import annotations

import copy
from datetime import date
from typing import Any

from registry.models import BreedingRun, Dog
from tests.breeding import TraitColumns, make_run
from tests.factories import Club

FIRST, LAST = 2016, 2024

_YEARS: list[dict[str, Any]] = [
    {
        "year": FIRST + number,
        "dogs": 40,
        "tested": 10 + number,
        "record": {"mean": 0.4712 - 0.004 * number, "low": 0.4311, "high": 0.5123},
        "value": {
            "mean": 0.0123 - 0.005 * number,
            "low": -0.0087 - 0.005 * number,
            "high": 0.0333 - 0.005 * number,
        },
        "inbreeding": 0.0211 + 0.002 * number,
    }
    for number in range(LAST - FIRST + 1)
]
_TREND: dict[str, Any] = {
    "years": [
        *_YEARS,
        {"year": 2025, "dogs": 3, "tested": 1, "record": None, "value": None, "inbreeding": 0.0},
    ],
    "line": {
        "per_year": -0.005, "low": -0.0075, "high": -0.0025, "first": FIRST, "last": LAST,
        "years": 9,
    },
    "left_out": [2025],
    "effective_size": {
        "size": 40.0, "size_error": 4.0, "rate": 0.0125, "rate_error": 0.00125, "dogs": 160,
        "matings": 30, "generations": 3.5, "first_year": 2021, "last_year": LAST,
    },
}  # fmt: skip


def stored_trend(**changed: Any) -> dict[str, Any]:
    """What a run stores of a course; each call gives a new one."""
    return {**copy.deepcopy(_TREND), **changed}


def make_course(
    club: Club,
    *,
    trait: str = "hip-laxity",
    of_each: int = 0,
    parents_value: float = 0.0,
    **columns: Any,
) -> BreedingRun:
    """Twelve dogs of two sires and three dams, born in 2024, and a run with a course; with
    ``of_each``, so many sires and dams, born in 2018, with four puppies each."""
    sires = [_dog(club, "M", number) for number in range(of_each or 2)]
    dams = [_dog(club, "F", number) for number in range(of_each or 3)]
    Dog.objects.bulk_create([*sires, *dams])
    Dog.objects.bulk_create(
        _dog(club, "MF"[number % 2], number, sires[number % len(sires)], dams[number % len(dams)])
        for number in range(4 * of_each or 12)
    )
    given = {"base": 0.45, "middle": 0.44, "trend": stored_trend(), **columns}
    if parents_value:
        given["value"] = dict.fromkeys([*sires, *dams], parents_value)
    return make_run(club.breed, traits={trait: TraitColumns(**given)})


def _dog(club: Club, sex: str, number: int, sire: Dog | None = None, dam: Dog | None = None) -> Dog:
    name = f"Tarnfold {'Pup' if sire else 'Parent'} {number}"
    born_on = date(LAST if sire else 2018, 3, 1)
    return Dog(
        breed=club.breed,
        name=name,
        search_name=name.lower(),
        sex=sex,
        born_on=born_on,
        sire=sire,
        dam=dam,
    )
