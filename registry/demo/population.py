"""Eight generations of one invented breed: who is whose puppy, born when, with which genes.

Breeders choose with a mild eye on tight hips, a few sires are used far more than the rest, and
close relatives are not mated. Now and then a dog comes from abroad, of parents nobody here knows,
and its young are of this breed. Dogs are places in arrays here; names, chips and results come
later, in ``scenario``. Pure: a seed and a day in, arrays out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from registry.demo.genetics import LAXITY, QUALITIES, GeneticModel, Kinship, Values

GENERATIONS = 8
_GENERATION_DAYS = 985
_LAST_GENERATION_AGE_DAYS = 480
_SPREAD_DAYS = 300
_YOUNGEST_SIRE_DAYS, _YOUNGEST_DAM_DAYS = 420, 540
_OLDEST_SIRE_DAYS, _OLDEST_DAM_DAYS = 11 * 365, 8 * 365
_BETWEEN_LITTERS_DAYS = 300
_YOUNGEST_PUPPY_DAYS = 63
# Dogs of a generation as shares of the whole: a breed that grew, and whose oldest dogs are a
# memory.
_SHARES = np.array([0.03, 0.05, 0.08, 0.125, 0.16, 0.185, 0.205, 0.165])
_FEWEST_FOUNDERS = 4
# From this generation on dogs come from abroad: so many of a hundred of the generation.
_FIRST_IMPORTS, _IMPORTS = 3, 0.025
# Closer than cousins' children of a small breed: parent and puppy, or full brother and sister.
_TOO_CLOSE = 0.20

Places = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Population:
    """One row a dog, in an order in which parents come first. All arrays have length n.

    ``born`` holds proleptic ordinals (``date.toordinal``); ``sire``, ``dam`` and ``litter`` hold
    places, -1 for a founder's and an import's; ``additive`` and ``value`` have shape (n, 4): genes
    alone, and with upbringing.
    """

    generation: Places
    is_male: NDArray[np.bool_]
    born: Places
    sire: Places
    dam: Places
    litter: Places
    additive: Values
    value: Values

    def __len__(self) -> int:
        return len(self.born)


def breed_population(
    *, size: int, today: int, selection: float, rng: np.random.Generator
) -> Population:
    """Breed ``size`` dogs up to ``today`` (an ordinal).

    ``selection`` is how strongly breeders heed the laxity they see: 0 not at all; at 1 a dog one
    standard deviation tighter is chosen e times as often.
    """
    breeding = _Breeding(sum(_sizes(size)), today, selection, rng)
    sizes = _sizes(size)
    breeding.found(sizes[0])
    for generation, wanted in enumerate(sizes[1:], start=2):
        breeding.breed(generation, wanted)
    return breeding.population()


def _sizes(size: int) -> list[int]:
    """Dogs of each generation; small numbers still have both sexes to breed from."""
    sizes = [max(2, int(share * size)) for share in _SHARES / _SHARES.sum()]
    sizes[0] = max(sizes[0], _FEWEST_FOUNDERS)
    sizes[-2] += max(0, size - sum(sizes))
    return sizes


class _Breeding:
    """The population while it grows."""

    def __init__(
        self, capacity: int, today: int, selection: float, rng: np.random.Generator
    ) -> None:
        self.model = GeneticModel.shipped()
        self.kinship = Kinship(capacity)
        self.rng = rng
        self.today = today
        self.selection = selection
        self.n = 0
        self.litters = 0
        self.generation = np.zeros(capacity, dtype=np.int64)
        self.is_male = np.zeros(capacity, dtype=np.bool_)
        self.born = np.zeros(capacity, dtype=np.int64)
        self.sire = np.full(capacity, -1, dtype=np.int64)
        self.dam = np.full(capacity, -1, dtype=np.int64)
        self.litter = np.full(capacity, -1, dtype=np.int64)
        self.additive = np.zeros((capacity, QUALITIES))
        self.value = np.zeros((capacity, QUALITIES))
        self.last_whelped: dict[int, int] = {}

    def found(self, wanted: int) -> None:
        """Add the founders, half of them male, unrelated and of unknown parents."""
        genes = self.model.founders(wanted, self.rng)
        upbringing = self.model.upbringing(wanted, self.rng, shared=True)
        own = self.model.upbringing(wanted, self.rng, shared=False)
        for place in range(wanted):
            born = self._day(1)
            self._add(
                1, place % 2 == 0, born, -1, -1, -1, genes[place], upbringing[place] + own[place]
            )

    def breed(self, generation: int, wanted: int) -> None:
        """Add a generation of exactly ``wanted`` dogs, litter by litter."""
        stop = self.n + wanted
        sires = self._sires(generation)
        self._import(generation, round(wanted * _IMPORTS) if generation >= _FIRST_IMPORTS else 0)
        while self.n < stop:
            dam, born = self._dam(generation)
            sire = self._mate(dam, born, sires)
            size = int(np.clip(round(self.rng.normal(6, 1.9)), 1, 11))
            self._whelp(generation, sire, dam, born, min(size, stop - self.n))

    def _import(self, generation: int, wanted: int) -> None:
        """Add dogs from abroad: of unknown parents, and as good as this breed is by then."""
        before = np.flatnonzero(self.generation[: self.n] == generation - 1)
        level = self.additive[before].mean(axis=0)
        genes = self.model.founders(wanted, self.rng)
        shared = self.model.upbringing(wanted, self.rng, shared=True)
        own = self.model.upbringing(wanted, self.rng, shared=False)
        for place in range(wanted):
            born = self._day(generation)
            upbringing = shared[place] + own[place]
            here = level + genes[place]
            self._add(generation, place % 2 == 0, born, -1, -1, -1, here, upbringing)

    def population(self) -> Population:
        """What was bred."""
        return Population(
            self.generation,
            self.is_male,
            self.born,
            self.sire,
            self.dam,
            self.litter,
            self.additive,
            self.value,
        )

    def _add(
        self,
        generation: int,
        is_male: bool,
        born: int,
        sire: int,
        dam: int,
        litter: int,
        genes: Values,
        upbringing: Values,
    ) -> None:
        at = self.kinship.add(sire, dam)
        self.generation[at] = generation
        self.is_male[at] = is_male
        self.born[at] = born
        self.sire[at], self.dam[at], self.litter[at] = sire, dam, litter
        self.additive[at] = genes
        self.value[at] = genes + upbringing
        self.n = at + 1

    def _whelp(self, generation: int, sire: int, dam: int, born: int, size: int) -> None:
        genes = self.model.puppies(
            self.additive[sire],
            self.additive[dam],
            self.kinship.inbreeding(sire),
            self.kinship.inbreeding(dam),
            size,
            self.rng,
        )
        shared = self.model.upbringing(1, self.rng, shared=True)[0]
        own = self.model.upbringing(size, self.rng, shared=False)
        males = self._sexes(generation, size)
        for place in range(size):
            self._add(
                generation,
                bool(males[place]),
                born,
                sire,
                dam,
                self.litters,
                genes[place],
                shared + own[place],
            )
        self.litters += 1
        self.last_whelped[dam] = born

    def _sexes(self, generation: int, size: int) -> NDArray[np.bool_]:
        """Even chances, but no generation stays without one of the sexes."""
        males = self.rng.random(size) < 0.5
        before = self.is_male[: self.n][self.generation[: self.n] == generation]
        if not before.any() and not males.any():
            males[0] = True
        elif not (~before).any() and males.all():
            males[-1] = False
        return males

    def _day(self, generation: int) -> int:
        age = _LAST_GENERATION_AGE_DAYS + (GENERATIONS - generation) * _GENERATION_DAYS
        return self.today - age + int(self.rng.integers(-_SPREAD_DAYS, _SPREAD_DAYS + 1))

    def _weights(self, dogs: Places) -> Values:
        weights: Values = np.exp(-self.selection * self.value[dogs, LAXITY])
        weights /= weights.sum()
        return weights

    def _sires(self, generation: int) -> tuple[Places, Values]:
        """This generation's sires and how much each is used: a few are used for most litters."""
        known = np.arange(self.n)
        males = known[self.is_male[: self.n]]
        recent = males[self.generation[males] >= generation - 2]
        young = recent[self.generation[recent] == generation - 1]
        count = min(len(recent), max(2, round(len(young) * 0.22)))
        # A sire of two generations back stays in use, but less often.
        weights = self._weights(recent) * np.where(
            self.generation[recent] == generation - 1, 1.0, 0.35
        )
        chosen = self.rng.choice(recent, size=count, replace=False, p=weights / weights.sum())
        use = 1.0 / np.arange(1, count + 1) ** 0.8
        return chosen, use / use.sum()

    def _dam(self, generation: int) -> tuple[int, int]:
        """A bitch of the generation before, and a day on which she can whelp."""
        bitches = np.flatnonzero(
            ~self.is_male[: self.n] & (self.generation[: self.n] == generation - 1)
        )
        weights = self._weights(bitches)
        latest = self.today - _YOUNGEST_PUPPY_DAYS
        fallback = (-1, 0)
        for _attempt in range(40):
            dam = int(self.rng.choice(bitches, p=weights))
            born = max(self._day(generation), int(self.born[dam]) + _YOUNGEST_DAM_DAYS)
            if dam in self.last_whelped:
                born = max(born, self.last_whelped[dam] + _BETWEEN_LITTERS_DAYS)
            if born <= latest and born - self.born[dam] <= _OLDEST_DAM_DAYS:
                return dam, born
            if fallback[0] < 0 or born < fallback[1]:
                fallback = (dam, born)
        # A handful of dogs only: the earliest day found, never one that has not come yet.
        return fallback[0], min(fallback[1], latest)

    def _mate(self, dam: int, born: int, sires: tuple[Places, Values]) -> int:
        """A sire of the right age, not too close to the bitch; failing that, the least close."""
        chosen, use = sires
        ages = born - self.born[chosen]
        fit = (ages >= _YOUNGEST_SIRE_DAYS) & (ages <= _OLDEST_SIRE_DAYS)
        if not fit.any():
            males = np.flatnonzero(self.is_male[: self.n])
            chosen = males[born - self.born[males] >= _YOUNGEST_SIRE_DAYS]
            use = np.full(len(chosen), 1 / len(chosen))
            fit = np.ones(len(chosen), dtype=np.bool_)
        kin = np.array([self.kinship.between(dam, int(sire)) for sire in chosen])
        apart = fit & (kin < _TOO_CLOSE)
        if not apart.any():
            return int(chosen[fit][np.argmin(kin[fit])])
        weights = np.where(apart, use, 0.0)
        return int(self.rng.choice(chosen, p=weights / weights.sum()))
