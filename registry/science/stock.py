"""The dogs that are parents, and products with their relationship matrix.

The work that inbreeding and kinships share: numbers in, numbers out. Which dog is which is the
pedigree's business.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Places = NDArray[np.int64]
Numbers = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Stock:
    """The m dogs of a pedigree that are parents, numbered parents first, level by level.

    A dog without offspring is nobody's ancestor, so what is true of all dogs follows from these
    few. Number m stands for a parent that is not known, and for a dog that is no parent.
    """

    places: Places
    """(m,): the place of each."""
    sire: Places
    dam: Places
    """(m,): the parents' numbers."""
    starts: Places
    """Where each level begins, and at the end m."""
    factor: Numbers | None = None
    """(m,): what each one's Mendelian variance is multiplied by; None: nothing."""

    def __len__(self) -> int:
        """Return the number of parents."""
        return len(self.places)

    @cached_property
    def levels(self) -> list[slice]:
        """The numbers of each level, founders first."""
        return [slice(low, high) for low, high in pairwise(self.starts.tolist())]

    def above(self, numbers: Places) -> tuple[Stock, Places]:
        """Return these dogs with all their ancestors, and everybody's number among them, (m + 1,).

        Who is not among them has the number that stands for an unknown parent there.
        """
        is_kept = np.zeros(len(self) + 1, dtype=bool)
        is_kept[numbers] = True
        for level in reversed(self.levels[1:]):
            here = level.start + np.flatnonzero(is_kept[level])
            is_kept[self.sire[here]] = True
            is_kept[self.dam[here]] = True
        kept = np.flatnonzero(is_kept[:-1])
        renumbered = np.full(len(self) + 1, len(kept), dtype=np.int64)
        renumbered[kept] = np.arange(len(kept))
        smaller = Stock(
            places=self.places[kept],
            sire=renumbered[self.sire[kept]],
            dam=renumbered[self.dam[kept]],
            starts=np.searchsorted(kept, self.starts),
            factor=None if self.factor is None else self.factor[kept],
        )
        return smaller, renumbered

    def mendelian_variance(self, inbreeding: Numbers) -> Numbers:
        """Return the Mendelian sampling variance of each, (m,), from the inbreeding of each."""
        variance = variance_left_open(self.sire, self.dam, inbreeding)
        return variance if self.factor is None else self.factor * variance

    def relationships(self, given: Numbers, inbreeding: Numbers) -> Numbers:
        """Return A·x for k vectors at once: the columns of ``given``, (m + 1, k), which is reused.

        The relationship matrix A = T D T′ itself is never made: T′ hands each dog's numbers on to
        its parents by halves, youngest first; T adds to each dog's the mean of its parents', oldest
        first. Row m is passed over, and zero afterwards. Source: Colleau (2002), Genet Sel Evol
        34:409-421.
        """
        self._hand_back(given)
        given[:-1] *= self.mendelian_variance(inbreeding)[:, None]
        for level in self.levels[1:]:
            parents = given[self.sire[level]]
            parents += given[self.dam[level]]
            parents *= 0.5
            given[level] += parents
        return given

    def _hand_back(self, given: Numbers) -> None:
        k = given.shape[1]
        flat = given.reshape(-1)
        for level in reversed(self.levels[1:]):
            # Most of these numbers are zeros: a dog has few ancestors in the youngest levels. They
            # are looked for among true and false, which is many times faster than among numbers.
            at = np.flatnonzero(given[level] != 0) + level.start * k
            dog = at // k
            column = at - dog * k
            half = 0.5 * flat[at]
            np.add.at(flat, self.sire[dog] * k + column, half)
            np.add.at(flat, self.dam[dog] * k + column, half)
        given[-1] = 0.0


def variance_left_open(sire: Places, dam: Places, inbreeding: Numbers) -> Numbers:
    """Return the Mendelian sampling variance of each dog as a share of the additive variance.

    The parents index ``inbreeding``; its length, or -1, stands for an unknown one.
    ½ − ¼(F of sire + F of dam), where an unknown parent counts as F = −1: ¾ − ¼F with one known
    parent, 1 with none. Source: Quaas (1976), Biometrics 32:949-953; Meuwissen & Luo (1992), Genet
    Sel Evol 24:305-313.
    """
    padded = np.append(inbreeding, -1.0)
    variance: Numbers = 0.5 - 0.25 * (padded[sire] + padded[dam])
    return variance
