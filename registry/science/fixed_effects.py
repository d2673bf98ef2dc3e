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
    """X of full rank, for r records."""

    names: tuple[str, ...]
    """The class effects in the order of the columns."""
    levels: tuple[Codes, ...]
    """Of each of these: the codes that occur, ascending."""
    sizes: Mapping[str, int]
    """The length of each effect's solution, in the order given: its highest code and one more."""
    kept: Codes
    """(p,): the kept ones among the columns of all these levels and, last, the centred age."""
    rows: sparse.csr_array
    """X, (r, p)."""
    products: Numbers
    """X′WX, (p, p), W the weights of the records."""

    @classmethod
    def of(
        cls, fixed: Mapping[str, Codes], age: Numbers, weight: Numbers | None = None
    ) -> FixedEffects:
        """Return the effects of the records, given codes, ages and weights above 0, (r,) each."""
        occurring = {name: np.flatnonzero(np.bincount(codes)) for name, codes in fixed.items()}
        carrier = sorted(fixed, key=lambda name: -len(occurring[name]))[:1]
        names = (*carrier, *(name for name in fixed if name not in carrier))
        levels = tuple(occurring[name] for name in names)
        starts = np.cumsum([0, *map(len, levels)])
        sizes = {name: int(codes.max(initial=-1)) + 1 for name, codes in fixed.items()}
        terms = []
        for name, codes, start in zip(names, levels, starts[:-1], strict=True):
            number = np.zeros(sizes[name], dtype=np.int32)
            number[codes] = start + np.arange(len(codes))
            terms.append(number[fixed[name]])
        centred = age - (age.mean() if len(age) else 0.0)
        weights = np.ones_like(age) if weight is None else weight
        products = _products(terms, centred, weights, int(starts[-1]) + 1)
        # Measured by the age itself: once centred, an age that never differs is a rounding error.
        least_age = _DEPENDENT * float(weights @ age**2)
        kept = _independent(products, own=len(levels[0]) if levels else 0, least_age=least_age)
        rows = _rows(terms, centred, kept, int(starts[-1]) + 1)
        return cls(names, levels, sizes, kept, rows, products[np.ix_(kept, kept)])

    def __len__(self) -> int:
        """Return p."""
        return len(self.kept)

    @property
    def carrier_levels(self) -> int:
        """The number of levels of the effect that keeps them all: the first columns."""
        return len(self.levels[0]) if self.levels else 0

    def differences(
        self, name: str, codes: Codes, solution: Numbers, covariance: Numbers
    ) -> tuple[Codes, Numbers, Numbers]:
        """Return levels of one effect, how far each lies from their mean, and standard errors.

        ``codes`` are those of the records, (r,), which weight the mean; ``solution`` (p,) with its
        ``covariance`` (p, p). Nothing is returned for one level alone, and where the records do
        not compare all levels with each other (as when an effect always changes with another).
        """
        at = self.names.index(name)
        first = sum(len(levels) for levels in self.levels[:at])
        column = np.full(sum(map(len, self.levels)) + 1, -1)
        column[self.kept] = np.arange(len(self.kept))
        own = column[first : first + len(self.levels[at])]
        # One level is dropped where another effect carries the mean: the others differ from it.
        is_told = len(own) > 1 and np.count_nonzero(own < 0) == (at > 0)
        level, own = (self.levels[at], own) if is_told else (self.levels[at][:0], own[:0])
        pick = np.zeros((len(level), len(self.kept)))
        pick[np.flatnonzero(own >= 0), own[own >= 0]] = 1.0
        count = np.bincount(codes, minlength=self.sizes[name])[level]
        pick -= (count / max(count.sum(), 1)) @ pick
        error = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", pick, covariance, pick), 0.0))
        return level, pick @ solution, error

    def named(self, solution: Numbers) -> tuple[dict[str, Numbers], float]:
        """Return the solutions by effect and code, 0 where there is none, and the slope of age."""
        every = np.zeros(sum(map(len, self.levels)) + 1)
        every[self.kept] = solution
        parts = np.split(every, np.cumsum([len(codes) for codes in self.levels]))
        by_name = {name: np.zeros(size) for name, size in self.sizes.items()}
        for name, codes, part in zip(self.names, self.levels, parts, strict=False):
            by_name[name][codes] = part
        return by_name, float(every[-1])


def sums_by(group: NDArray[np.integer], numbers: Numbers, groups: int) -> Numbers:
    """Return the sums of numbers by group, (groups,)."""
    return np.bincount(group, weights=numbers, minlength=groups).astype(np.float64)


def _rows(
    terms: list[NDArray[np.int32]], centred: Numbers, kept: Codes, columns: int
) -> sparse.csr_array:
    """Return the kept columns of X: a row has a level of each effect, and the age."""
    r, p = len(centred), len(kept)
    if not p:
        return sparse.csr_array((r, 0))
    number = np.full(columns, -1, dtype=np.int32)
    number[kept] = np.arange(p)
    column = np.empty((r, len(terms) + 1), dtype=np.int32)
    entry = np.empty(column.shape)
    for place, term in enumerate(terms):
        column[:, place] = number[term]
        entry[:, place] = column[:, place] >= 0
    column[:, -1] = number[-1]
    entry[:, -1] = centred if number[-1] >= 0 else 0.0
    # A dropped entry stays as a zero in the first column: taking it out costs more.
    np.maximum(column, 0, out=column)
    ends = np.arange(0, column.size + 1, column.shape[1], dtype=np.int32)
    return sparse.csr_array((entry.ravel(), column.ravel(), ends), shape=(r, p))


def _products(
    terms: list[NDArray[np.int32]], centred: Numbers, weight: Numbers, columns: int
) -> Numbers:
    """Return the weighted cross products of all columns, (columns, columns), by counting."""
    sums = np.zeros((columns, columns))
    for one, other in combinations(terms, 2):
        pair = sums_by(one.astype(np.int64) * columns + other, weight, columns**2)
        sums += pair.reshape(columns, columns)
    by_age = weight * centred
    for term in terms:
        sums[:, -1] += sums_by(term, by_age, columns)
    sums += sums.T
    for term in terms:
        sums += np.diag(sums_by(term, weight, columns))
    sums[-1, -1] = by_age @ centred
    return sums


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
