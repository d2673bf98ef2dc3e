"""Pedigrees like those of a dog breed, made up from a seed, as large as a measurement wants them.

Fifteen cohorts of equal size. Litters of about six. Few dogs become parents (about 8 of 100), more
bitches than males; a few popular sires have very many litters. A cohort's parents come from the
three cohorts before it, most from the one before the last.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

COHORTS = 15
SIRES, DAMS = 0.015, 0.085
"""The share of a cohort's dogs that become sires and dams (of all dogs, not of the sex)."""
_POPULARITY = 2.5
"""The tail of the sires' popularity (Pareto): the smaller, the more popular the first of them."""
_AGES = (0.3, 0.45, 0.25)
"""How the matings fall on parents born one, two and three cohorts earlier."""

Whole = NDArray[np.int64]


@dataclass(frozen=True)
class MadeUp:
    """One row a dog, oldest cohort first, littermates side by side; -1 is an unknown parent."""

    sire: Whole
    dam: Whole
    litter: Whole
    """The number of the dog's litter; -1 for a dog of the first cohort."""
    cohort: Whole
    is_male: NDArray[np.bool_]

    def shuffled(self, seed: int) -> MadeUp:
        """The same dogs with their rows in another order."""
        order = np.random.default_rng(seed).permutation(len(self.sire))
        place = np.empty(len(order) + 1, dtype=np.int64)
        place[order] = np.arange(len(order))
        place[-1] = -1
        return MadeUp(
            sire=place[self.sire[order]],
            dam=place[self.dam[order]],
            litter=self.litter[order],
            cohort=self.cohort[order],
            is_male=self.is_male[order],
        )


def made_up(dogs: int, *, seed: int = 1, cohorts: int = COHORTS) -> MadeUp:
    """A pedigree of so many dogs; the same for the same numbers."""
    random = np.random.default_rng(seed)
    ends = np.linspace(0, dogs, cohorts + 1).astype(np.int64)
    sire, dam, litter = (np.full(dogs, -1, dtype=np.int64) for _column in range(3))
    is_male = random.random(dogs) < 0.5
    sires, dams = _Parents(), _Parents()
    for cohort in range(cohorts):
        here = np.arange(ends[cohort], ends[cohort + 1])
        if cohort:
            sizes = _litter_sizes(random, len(here))
            own = np.repeat(np.arange(len(sizes)), sizes)
            sire[here] = sires.chosen(random, len(sizes))[own]
            dam[here] = dams.chosen(random, len(sizes))[own]
            litter[here] = own + litter.max() + 1
        sires.add(random, here[is_male[here]], SIRES * len(here), _POPULARITY)
        dams.add(random, here[~is_male[here]], DAMS * len(here), 6.0)
    age = np.repeat(np.arange(cohorts), np.diff(ends))
    return MadeUp(sire=sire, dam=dam, litter=litter, cohort=age, is_male=is_male)


class _Parents:
    """The parents of one sex, of the last three cohorts, each with a weight."""

    def __init__(self) -> None:
        self._cohorts: list[tuple[Whole, NDArray[np.float64]]] = []

    def add(
        self, random: np.random.Generator, candidates: Whole, number: float, tail: float
    ) -> None:
        size = min(max(2, round(number)), len(candidates))
        dogs = random.choice(candidates, size=size, replace=False)
        weights = 1.0 + random.pareto(tail, len(dogs))
        self._cohorts = [(dogs, weights / weights.sum()), *self._cohorts[: len(_AGES) - 1]]

    def chosen(self, random: np.random.Generator, litters: int) -> Whole:
        dogs = np.concatenate([dogs for dogs, _weights in self._cohorts])
        weights = np.concatenate(
            [age * weights for age, (_dogs, weights) in zip(_AGES, self._cohorts, strict=False)]
        )
        return random.choice(dogs, size=litters, p=weights / weights.sum())


def _litter_sizes(random: np.random.Generator, dogs: int) -> Whole:
    """Litters of one to eleven, six on average, that make up exactly so many dogs."""
    sizes = 1 + random.binomial(10, 0.5, size=dogs // 5 + 12)
    ends = np.minimum(np.cumsum(sizes), dogs)
    sizes = np.diff(ends, prepend=0)
    return sizes[sizes > 0]
