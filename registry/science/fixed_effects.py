"""The fixed part of a record: class effects and the age, as columns that are independent.

Which columns are kept follows from the records alone: the effect with most levels keeps them all
(the first named of two alike), and so carries the mean. Then the other effects' levels, in the
order named and coded, and the age last: a column that the kept ones before it already make up (the
first level of a second effect; an effect that always changes with another; an age that never
differs) is dropped, and its solution is zero. A record's fixed part is the same whichever are kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Numbers = NDArray[np.float64]
Codes = NDArray[np.int64]

_DEPENDENT = 1e-9
"""A column is dropped when less than this part of its square is left beside those before it."""


@dataclass(frozen=True, eq=False)
class FixedEffects:
    """X (r, p) of full rank, kept as the few entries a record has in it."""

    names: tuple[str, ...]
    """The class effects in the order of the columns."""
    levels: tuple[Codes, ...]
    """Of each of these: the codes that occur, ascending."""
    sizes: Mapping[str, int]
    """The length of each effect's solution, in the order given: its highest code and one more."""
    mean_age: float
    column: Codes
    """(r, terms): the column of each class effect and the age; 0 where it is dropped."""
    entry: Numbers
    """(r, terms): 1 for a class, the centred age; 0 where it is dropped."""
    kept: Codes
    """(p,): the kept ones among all columns."""

    @classmethod
    def of(cls, fixed: Mapping[str, Codes], age: Numbers) -> FixedEffects:
        """Return the fixed effects of the records, given the codes and the ages, (r,) each."""
        occurring = {name: np.flatnonzero(np.bincount(codes)) for name, codes in fixed.items()}
        by_size = sorted(fixed, key=lambda name: -len(occurring[name]))
        names = (*by_size[:1], *(name for name in fixed if name not in by_size[:1]))
        levels = tuple(occurring[name] for name in names)
        starts = np.cumsum([0, *map(len, levels)])
        sizes = {name: int(codes.max(initial=-1)) + 1 for name, codes in fixed.items()}
        mean_age = float(age.mean()) if len(age) else 0.0
        column = np.full((len(age), len(names) + 1), starts[-1], dtype=np.int64)
        for term, name in enumerate(names):
            number = np.zeros(sizes[name], dtype=np.int64)
            number[levels[term]] = starts[term] + np.arange(len(levels[term]))
            column[:, term] = number[fixed[name]]
        entry = np.ones(column.shape)
        entry[:, -1] = age - mean_age
        whole = cls(names, levels, sizes, mean_age, column, entry, np.arange(starts[-1] + 1))
        kept = _independent(
            whole.cross_products(np.ones(len(age))),
            own=len(levels[0]) if levels else 0,
            least_age=_DEPENDENT * float(age @ age),
        )
        number = np.full(starts[-1] + 1, -1, dtype=np.int64)
        number[kept] = np.arange(len(kept))
        column = number[column]
        entry[column < 0] = 0.0
        return cls(names, levels, sizes, mean_age, np.maximum(column, 0), entry, kept)

    def __len__(self) -> int:
        """Return p."""
        return len(self.kept)

    def cross_products(self, weight: Numbers) -> Numbers:
        """Return X′WX, (p, p) dense."""
        p = len(self)
        sums = np.zeros(p * p)
        terms = range(self.column.shape[1])
        for one in terms:
            sums += self._pair(one, one, weight)
        for one, other in combinations(terms, 2):
            pair = self._pair(one, other, weight)
            sums += pair + pair.reshape(p, p).T.ravel()
        return sums.reshape(p, p)

    def sums(self, group: Codes, groups: int, weight: Numbers) -> sparse.csr_array:
        """Return the weighted sums of the rows of X by group, (groups, p); −1 is no group."""
        row, term = np.nonzero((self.entry != 0) & (group >= 0)[:, None])
        where = group[row], self.column[row, term]
        entries = self.entry[row, term] * weight[row]
        return sparse.coo_array((entries, where), shape=(groups, len(self))).tocsr()

    def rows(self) -> sparse.csr_array:
        """Return X itself, (r, p)."""
        r = len(self.column)
        return self.sums(np.arange(r), r, np.ones(r))

    def times(self, solution: Numbers) -> Numbers:
        """Return the fixed part of every record, X b, (r,)."""
        if not len(self):
            return np.zeros(len(self.column))
        return np.asarray((solution[self.column] * self.entry).sum(axis=1))

    def transposed_times(self, numbers: Numbers) -> Numbers:
        """Return X′v, (p,)."""
        weights = (self.entry * numbers[:, None]).ravel()
        return sums_by(self.column.ravel(), weights, len(self))

    def named(self, solution: Numbers) -> tuple[dict[str, Numbers], float]:
        """Return the solutions by effect and code, 0 where there is none, and the slope of age."""
        every = np.zeros(sum(map(len, self.levels)) + 1)
        every[self.kept] = solution
        parts = np.split(every, np.cumsum([len(codes) for codes in self.levels]))
        by_name = {name: np.zeros(size) for name, size in self.sizes.items()}
        for name, codes, part in zip(self.names, self.levels, parts, strict=False):
            by_name[name][codes] = part
        return by_name, float(every[-1])

    def _pair(self, one: int, other: int, weight: Numbers) -> Numbers:
        p = len(self)
        place = self.column[:, one] * p + self.column[:, other]
        products = self.entry[:, one] * self.entry[:, other] * weight
        return sums_by(place, products, p * p)


def sums_by(group: Codes, numbers: Numbers, groups: int) -> Numbers:
    """Return the sums of numbers by group, (groups,); −1 is no group."""
    sums = np.bincount(group + 1, weights=numbers, minlength=groups + 1)[1 : groups + 1]
    return sums.astype(np.float64)


def _independent(products: Numbers, *, own: int, least_age: float) -> Codes:
    """Return the columns that are kept, from the cross products of all.

    The first ``own`` columns never meet on one record, so they are taken out at once; the few
    others follow one by one, by Gaussian elimination in their order.
    """
    counts = np.diag(products)[:own]
    beside = products[own:, :own]
    left = products[own:, own:] - (beside / counts) @ beside.T
    least = _DEPENDENT * np.diag(products)[own:]
    least[-1] = least_age
    kept = list(range(own))
    for column in range(len(left)):
        if left[column, column] > least[column]:
            kept.append(own + column)
            left -= np.outer(left[:, column], left[column]) / left[column, column]
    return np.array(kept, dtype=np.int64)
