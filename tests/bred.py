"""A small breed with tested dogs and a truth behind their results, written straight to the tables.

Through the desk each result would cost a transaction; a breeding run wants hundreds. The rows are
those that accepted results leave, without certificates and ledger entries.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.utils import timezone
from numpy.typing import NDArray

from registry.models import Breed, CountedValue, Dog, Evaluation, Reading, Side, State, Trait
from registry.models.ids import random_id
from tests.factories import Club

_FOUNDERS = 24
_LITTER = 6


@dataclass(frozen=True)
class Bred:
    """The dogs, oldest first, and their true breeding values of the hip laxity."""

    dogs: list[Dog]
    truth: NDArray[np.float64]

    def pair(self, number: int = 0) -> tuple[Dog, Dog]:
        """A sire and a dam among the last-born tested dogs, no two numbers with one dam."""
        dams = [dog for dog in reversed(self.dogs) if dog.sex == "F"]
        sires = [dog for dog in reversed(self.dogs) if dog.sex == "M"]
        return sires[number % 8], dams[number]


def make_young(sire: Dog, dam: Dog, born_on: date) -> list[Dog]:
    """A litter of six, not tested; registered now, whenever it was born."""
    random = random_id()[:4]
    litter = [
        _dog(sire.breed, f"{random} {number}", "MF"[number % 2], born_on, sire, dam)
        for number in range(_LITTER)
    ]
    return Dog.objects.bulk_create(litter)


def examine_young(
    club: Club, dogs: list[Dog], values: list[float], *, is_released: bool = True
) -> None:
    """Let each dog have this hip laxity index, the worse side's."""
    evaluations = _evaluations(club, dogs, is_released=is_released)
    sides = np.array(values) / 0.01
    _read("hip-laxity", evaluations, sides, np.zeros(len(dogs)))


def make_bred(
    club: Club,
    *,
    generations: int = 3,
    litters: int = 16,
    breed: Breed | None = None,
    seed: int = 1,
    additive: float = 0.006,
    residual: float = 0.006,
    angle: bool = False,
    elbow: int = 0,
) -> Bred:
    """Founders, and so many litters of six in each generation, all but the founders tested.

    ``angle`` adds the Norberg angle, with a true genetic correlation of -0.6; ``elbow`` gives so
    many dogs an elbow grade.
    """
    random = np.random.default_rng(seed)
    breed = breed or club.breed
    dogs: list[Dog] = []
    # Two independent sets of genes, each of variance 1 in the founders.
    genes: list[NDArray[np.float64]] = []
    parents = range(0)
    for generation in range(generations + 1):
        first = len(dogs)
        born = date(2015 + 2 * generation, 3, 1)
        if generation == 0:
            for number in range(_FOUNDERS):
                dogs.append(_dog(breed, number, "MF"[number % 2], born, None, None))
                genes.append(random.normal(size=2))
        else:
            _save(dogs, first=parents.start)
            for litter in range(litters):
                sire, dam = _pair(random, dogs, parents)
                for _pup in range(_LITTER):
                    number = len(dogs)
                    day = born + timedelta(days=litter)
                    dogs.append(_dog(breed, number, "MF"[number % 2], day, dogs[sire], dogs[dam]))
                    middle = (genes[sire] + genes[dam]) / 2
                    genes.append(random.normal(middle, 0.5**0.5))
        parents = range(first, len(dogs))
    _save(dogs, first=parents.start)
    both = np.array(genes)
    truth = additive**0.5 * both[:, 0]
    angles = 3 * (0.8 * both[:, 1] - 0.6 * both[:, 0]) if angle else None
    tested = np.arange(_FOUNDERS, len(dogs))
    _examine(club, dogs, tested, random, truth, residual, angles, elbow)
    return Bred(dogs, truth)


def _dog(
    breed: Breed, number: int | str, sex: str, born: date, sire: Dog | None, dam: Dog | None
) -> Dog:
    name = f"Tarnfold Pup {number}"
    return Dog(
        breed=breed,
        name=name,
        search_name=name.lower(),
        sex=sex,
        born_on=born,
        sire=sire,
        dam=dam,
    )


def _pair(random: np.random.Generator, dogs: list[Dog], among: range) -> tuple[int, int]:
    sires = [at for at in among if dogs[at].sex == "M"]
    dams = [at for at in among if dogs[at].sex == "F"]
    return int(random.choice(sires)), int(random.choice(dams))


def _save(dogs: list[Dog], *, first: int) -> None:
    Dog.objects.bulk_create(dogs[first:])


def _examine(
    club: Club,
    dogs: list[Dog],
    tested: NDArray[np.int64],
    random: np.random.Generator,
    truth: NDArray[np.float64],
    residual: float,
    angles: NDArray[np.float64] | None,
    elbow: int,
) -> None:
    """One examination each, at 150 days of age, by turns at the club's two clinics."""
    evaluations = _evaluations(club, [dogs[at] for at in tested.tolist()])
    value = 0.5 + truth[tested] + random.normal(0, residual**0.5, len(tested))
    _read("hip-laxity", evaluations, value / 0.01, random.normal(0, 3, len(tested)))
    if angles is not None:
        value = 103 + angles[tested] + random.normal(0, 3, len(tested))
        _read("norberg-angle", evaluations, value / 0.5, random.normal(0, 2, len(tested)))
    if elbow:
        grade = random.integers(0, 3, elbow)
        _read("elbow-grade", evaluations[:elbow], grade, np.zeros(elbow))


def _evaluations(club: Club, dogs: list[Dog], *, is_released: bool = True) -> list[Evaluation]:
    """An accepted examination of each dog, at 150 days of age and more."""
    now = timezone.now()
    return Evaluation.objects.bulk_create(
        Evaluation(
            reference=random_id()[:10],
            state=State.ACCEPTED,
            dog=dog,
            clinic=(club.clinic, club.other_clinic)[at % 2],
            examined_on=dog.born_on + timedelta(days=150 + at % 60),
            examiner="Dr. Vera Oakhollow",
            consent_to_publish=is_released,
            submitted_by=club.nurse.user,
            submitted_at=now,
            accepted_at=now,
        )
        for at, dog in enumerate(dogs)
    )


def _read(
    slug: str,
    evaluations: list[Evaluation],
    middle: NDArray[np.float64] | NDArray[np.int64],
    apart: NDArray[np.float64],
) -> None:
    """Readings of both sides, in whole steps about the middle, and the counted value."""
    trait = Trait.objects.get(slug=slug)
    readings, counted = [], []
    for evaluation, step, half in zip(evaluations, middle, apart, strict=True):
        sides = round(step + half), round(step - half)
        readings += [
            Reading(evaluation=evaluation, trait=trait, side=side, step=value)
            for side, value in zip((Side.LEFT, Side.RIGHT), sides, strict=True)
        ]
        counted.append(
            CountedValue(
                breed=evaluation.dog.breed,
                trait=trait,
                sex=evaluation.dog.sex,
                dog=evaluation.dog,
                evaluation=evaluation,
                month=evaluation.examined_on.replace(day=1),
                step=trait.worst(list(sides)),
                counted_from=evaluation.submitted_at,
                public_from=evaluation.submitted_at,
                came_in_group=not evaluation.consent_to_publish,
            )
        )
    Reading.objects.bulk_create(readings)
    CountedValue.objects.bulk_create(counted)
