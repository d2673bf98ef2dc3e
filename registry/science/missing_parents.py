"""Parents that nobody wrote down, taken as drawn from the known parents of the same year.

An unknown parent of a dog born after the pedigree's first years is no founder of the breed: it is
as far selected, and as much akin to the others, as the parents of its contemporaries. So the
pedigree is filled with stand-ins, which stand after the dogs and have no records:

- a pool for each birth year and sex of parent with a parent missing: the mean of POOL parents that
  dogs of the year have, taken evenly among these dogs, as a tree of means of two;
- a stand-in for each missing parent, drawn from its pool: its mean, and a part of its own of the
  variance that dogs of one population have about their mean, 1 − F. Littermates (one known parent,
  one day of birth) share it.

So the groups of unknown parents (Westell, Quaas & Van Vleck 1988, J Dairy Sci 71:1310-1318) are
those of a year; they are random, with the contemporaries' mean expected and room to differ from it
(Schaeffer's cure for groups that are poorly told apart). Random, because a club has a handful of
such dogs a year: groups as fixed effects would be drawn from them alone, and run into the years'
effects. Their inbreeding, and kinship with others, are those of contemporaries, as in VanRaden
(1992), J Dairy Sci 75:3136-3144, here by the kinships of the pool and not a constant of the year.

In the first years, before half of a year's dogs have a known parent, missing ones are founders, as
are those of other breeds' ancestors.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from registry.science.pedigree import UNKNOWN, Pedigree

Places = NDArray[np.int64]

POOL = 16
"""Parents in a pool, a power of 2 (our choice): their mean is off by a quarter of a spread."""
FEWEST_KNOWN = 8
"""Dogs with such a parent known that a pool is drawn from; with fewer, earlier years join."""
YEARS_BACK = 4
_DRAWN = 2.0
"""Of a stand-in: its parents are the pool twice, so this gives a Mendelian part of 1 − F."""
_APART, _BETWEEN = 0.1, 0.05
"""Of a pool and of the means below it, in the equations: how far a pool's true mean may lie from
its contemporaries', about a quarter of the additive spread. More room (0.5, 1.5) lost more of the
trend in simulated breeds under strong selection with three in ten parents missing; so parents from
a better or worse population than the breed's are pulled towards it."""


YEARS_ASKED = 10
"""The latest birth years whose dogs' parents are asked for (our choice)."""
MOST_FOR_SIZE, MOST_FOR_LINE = 0.10, 0.50
"""The greatest share of these dogs with an unknown parent with which an effective size, and a line
of the trend, are told (our choice, from simulated breeds). Size: of ideal breeds of 30, 60 and 120
dogs it came out 2 to 8 of 100 too low with a share of 0.10, up to 20 with 0.28, up to 40 with 0.51.
Line, whatever the selection: up to 0.51 its 95 % interval held 80 to 97 times of 100, and at most a
seventh of the trend was lost; with 0.64 and strong selection it held 67 times, with 0.75 never."""


@dataclass(frozen=True)
class UnknownParents:
    """The share of the breed's dogs of its latest birth years of which a parent is not known."""

    share: float
    first_year: int
    last_year: int

    @property
    def tells_size(self) -> bool:
        """Whether enough parents are known for an effective size."""
        return self.share <= MOST_FOR_SIZE

    @property
    def tells_line(self) -> bool:
        """Whether enough are known for the line through the years' mean breeding values."""
        return self.share <= MOST_FOR_LINE


def unknown_parents(
    pedigree: Pedigree, *, year: Places, is_own: NDArray[np.bool_]
) -> UnknownParents | None:
    """Return how many of the breed's latest dogs have an unknown parent, None without dogs.

    ``year`` (n,) is that of birth. Only dogs of ``is_own`` count, and no founders: a breed begins
    in the first year of which more than half of the dogs have a known parent. Where no year is
    such, all dogs count.
    """
    if not is_own.any():
        return None
    is_known = (pedigree.sire >= 0) & (pedigree.dam >= 0)
    has_one = (pedigree.sire >= 0) | (pedigree.dam >= 0)
    years, at = np.unique(year[is_own], return_inverse=True)
    begun = years[2 * np.bincount(at, has_one[is_own]) > np.bincount(at)]
    last = int(years[-1])
    first = max([last - YEARS_ASKED + 1, *begun[:1].tolist()])
    asked = is_own & (year >= first)
    return UnknownParents(float(1 - is_known[asked].mean()), first, last)


@dataclass(frozen=True, eq=False)
class Filled:
    """A pedigree of ``dogs`` dogs with their stand-ins after them.

    ``kin`` is for kinships, where a pool is just the mean of its parents; ``model`` is for the
    equations, where it may differ from it. Both are the given pedigree where nobody is missing.
    """

    dogs: int
    kin: Pedigree
    model: Pedigree

    @property
    def stand_ins(self) -> int:
        """How many were added."""
        return len(self.kin) - self.dogs


def filled(pedigree: Pedigree, *, year: Places, day: Places, is_own: NDArray[np.bool_]) -> Filled:
    """Return the pedigree with stand-ins for parents missing after its first years.

    ``year`` and ``day`` (n,) are those of birth; only dogs of ``is_own`` get any. Nothing changes
    where no parent is missing then.
    """
    filling = _Filling(pedigree, year, day, is_own)
    filling.fill()
    if not filling.parents:
        return Filled(len(pedigree), pedigree, pedigree)
    factor = filling.factor()
    kin = filling.pedigree(factor)
    model = factor.copy()
    model[filling.roots] = _APART
    model[filling.inner] = _BETWEEN
    return Filled(len(pedigree), kin, replace(kin, factor=model))


class _Filling:
    """The pedigree as it is filled; new places are given out from the number of dogs on."""

    def __init__(
        self, pedigree: Pedigree, year: Places, day: Places, is_own: NDArray[np.bool_]
    ) -> None:
        self.given = (pedigree.sire, pedigree.dam)
        self.now = (pedigree.sire.copy(), pedigree.dam.copy())
        self.year, self.day, self.is_own = year, day, is_own
        self.n = len(pedigree)
        self.parents: list[tuple[int, int]] = []
        self.factors: list[float] = []
        self.roots: list[int] = []
        self.inner: list[int] = []
        self.both: list[int] = []

    def fill(self) -> None:
        """Give a stand-in to every parent that is missing after the first years."""
        missing = [self.is_own & (given < 0) for given in self.given]
        for year in np.unique(self.year[missing[0] | missing[1]]).tolist():
            born = self.year == year
            pools = [self._pool(side, year) if (born & missing[side]).any() else UNKNOWN
                     for side in (0, 1)]  # fmt: skip
            for side in (0, 1):
                if pools[side] >= 0:
                    dogs = np.flatnonzero(born & missing[side] & ~missing[1 - side])
                    self._stand_in(side, dogs, pools[side])
            if min(pools) >= 0:
                dogs = np.flatnonzero(born & missing[0] & missing[1])
                self.now[0][dogs], self.now[1][dogs] = pools
                self.both += dogs.tolist()

    def factor(self) -> NDArray[np.float64]:
        """Return the factors of the Mendelian variances, with pools that are no more than means."""
        factor = np.concatenate([np.ones(self.n), self.factors])
        factor[self.both] = _DRAWN
        return factor

    def pedigree(self, factor: NDArray[np.float64]) -> Pedigree:
        """Return the filled pedigree."""
        added = np.array(self.parents, dtype=np.int64)
        sire, dam = (np.concatenate([self.now[side], added[:, side]]) for side in (0, 1))
        return Pedigree.of(sire, dam, factor=factor)

    def _pool(self, side: int, year: int) -> int:
        """Return the place of a year's pool, UNKNOWN in the first years."""
        given = self.given[side]
        born = self.is_own & (self.year == year)
        if 2 * np.count_nonzero(born & (given >= 0)) <= np.count_nonzero(born):
            earlier = self.is_own & (self.year < year) & (self.year >= year - YEARS_BACK)
            if 2 * np.count_nonzero(earlier & (given >= 0)) <= np.count_nonzero(earlier):
                return UNKNOWN
        # Only parents born before the year: so no dog can become its own ancestor.
        usable = self.is_own & (given >= 0) & (self.year[given] < year)
        for first in range(year, year - YEARS_BACK - 1, -1):
            dogs = np.flatnonzero(usable & (self.year >= first) & (self.year <= year))
            if len(dogs) >= FEWEST_KNOWN:
                at = ((np.arange(POOL) + 0.5) * len(dogs) / POOL).astype(np.int64)
                return self._tree(given[dogs[at]].tolist())
        return UNKNOWN

    def _tree(self, members: list[int]) -> int:
        while len(members) > 2:
            pairs = zip(members[::2], members[1::2], strict=True)
            members = [self._add(one, other, 0.0) for one, other in pairs]
            self.inner += members
        root = self._add(members[0], members[1], 0.0)
        self.roots.append(root)
        return root

    def _stand_in(self, side: int, dogs: Places, pool: int) -> None:
        """Give the dogs their parent: one for those of one other parent and one day."""
        key = np.column_stack([self.given[1 - side][dogs], self.day[dogs]])
        mates, mate = np.unique(key, axis=0, return_inverse=True)
        places = [self._add(pool, pool, _DRAWN) for _ in range(len(mates))]
        if places:
            self.now[side][dogs] = np.array(places)[mate.ravel()]

    def _add(self, one: int, other: int, factor: float) -> int:
        self.parents.append((one, other))
        self.factors.append(factor)
        return self.n + len(self.parents) - 1
