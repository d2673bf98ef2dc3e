"""The breed's course: its records and its breeding values by year of birth.

One number a dog in, one row a year out, and the straight line through the years. What the breed
could become is in ``selection``; how the breeding values were found does not belong here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.stats import t as student

from registry.science.inbreeding import mendelian_variance
from registry.science.pedigree import Pedigree

Numbers = NDArray[np.float64]
Years = NDArray[np.int64]

UNKNOWN_YEAR = 0
FEWEST_DOGS = 5
"""Dogs below which a year has no mean (our choice)."""
_FEWEST_YEARS = 3
_TWO_SIDED = NormalDist().inv_cdf(0.975)


@dataclass(frozen=True)
class Mean:
    """A mean with its 95 % interval, in the trait's unit."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Year:
    """The dogs born in one year.

    ``record`` is the mean of the tested dogs' records; ``value`` the mean breeding value of all its
    dogs, tested or not. Each is None where fewer than ``FEWEST_DOGS`` dogs would speak.
    """

    year: int
    dogs: int
    tested: int
    record: Mean | None
    value: Mean | None
    inbreeding: float

    @property
    def share_tested(self) -> float:
        """The tested dogs' share of all, 0 to 1."""
        return self.tested / self.dogs


@dataclass(frozen=True)
class Line:
    """The straight line through the years' mean breeding values, change a year with 95 % interval.

    ``first`` and ``last`` are the first and last year that it goes through, ``years`` their number.
    """

    per_year: float
    low: float
    high: float
    first: int
    last: int
    years: int


@dataclass(frozen=True)
class Trend:
    """The years in order, those with dogs alone; ``left_out`` had too few for a mean value.

    ``line`` is None with fewer than three years. ``without_year`` dogs have no known year of birth.
    All numbers are Python's own, ready for JSON.
    """

    years: tuple[Year, ...]
    line: Line | None
    left_out: tuple[int, ...]
    without_year: int


def by_birth_year(
    pedigree: Pedigree,
    *,
    born: Years,
    record: Numbers,
    value: Numbers,
    error_variance: Numbers,
    inbreeding: Numbers,
    additive: float,
    shift: Numbers | None = None,
    fewest: int = FEWEST_DOGS,
) -> Trend:
    """Return the breed's course; every array has one number a dog, (n,), in the pedigree's order.

    ``born`` is the year, ``UNKNOWN_YEAR`` where it is not known; ``record`` is NaN for a dog
    without one. A record's interval is that of Student's t: it treats the tested dogs as drawn at
    random, and is a little too narrow as littermates are alike.

    A breeding value's interval says how far the true mean of these very dogs may lie from the mean
    of their estimates (``additive`` is the variance of dogs that are not inbred). ``shift`` (n,)
    is how far each value moves with one standard error of the variances; without it they are taken
    to be known. The line's is made in the same way, by least squares of equal weight for each year:
    it is about the line through the true means of the same dogs. How: ``_error_variances``.
    """
    if not all(len(row) == len(pedigree) for row in (born, record, value, inbreeding)):
        raise ValueError(f"the pedigree has {len(pedigree)} dogs; give one number for each")
    known = np.unique(born[born != UNKNOWN_YEAR])
    if not len(known):
        return Trend((), None, (), len(born))
    place = np.where(born == UNKNOWN_YEAR, len(known), np.searchsorted(known, born))
    dogs = np.bincount(place, minlength=len(known) + 1)
    means = np.bincount(place, value, minlength=len(known) + 1)[:-1] / dogs[:-1]
    used = np.flatnonzero(dogs[:-1] >= fewest)
    slope = _slope(known, used)
    # One column for the mean of each year, and a last one for the line; no row for unknown years.
    wanted = np.column_stack([np.eye(len(known)), slope]) / dogs[:-1, None]
    prior = additive * mendelian_variance(pedigree, inbreeding)
    errors = _error_variances(
        pedigree, error_variance, prior, place, np.vstack([wanted, 0 * wanted[:1]])
    )
    if shift is not None:
        errors += (np.bincount(place, shift, minlength=len(known) + 1)[:-1] @ wanted) ** 2
    tested = np.isfinite(record)
    years = tuple(
        Year(
            year=int(known[at]),
            dogs=int(dogs[at]),
            tested=int((tested & (place == at)).sum()),
            record=_mean_record(record[tested & (place == at)], fewest),
            value=_around(float(means[at]), float(errors[at])) if dogs[at] >= fewest else None,
            inbreeding=float(inbreeding[place == at].mean()),
        )
        for at in range(len(known))
    )
    return Trend(
        years=years,
        line=_line(known[used], _around(float(slope @ means), float(errors[-1]))),
        left_out=tuple(year.year for year in years if year.value is None),
        without_year=int(dogs[-1]),
    )


def _slope(known: Years, used: NDArray[np.int64]) -> Numbers:
    """Return what each year's mean counts in the slope of the line through the used ones."""
    counts = np.zeros(len(known))
    if len(used) >= _FEWEST_YEARS:
        off = known[used] - known[used].mean()
        counts[used] = off / (off**2).sum()
    return counts


def _line(used: Years, slope: Mean) -> Line | None:
    if len(used) < _FEWEST_YEARS:
        return None
    return Line(slope.mean, slope.low, slope.high, int(used[0]), int(used[-1]), len(used))


def _error_variances(
    pedigree: Pedigree,
    error_variance: Numbers,
    prior: Numbers,
    place: NDArray[np.int64],
    weights: Numbers,
) -> Numbers:
    """Return the variance of the weighted sums of all dogs' prediction errors, (k,).

    ``weights`` is (years + 1, k): what a dog born in each year counts in each sum; ``prior`` (n,)
    is the variance of each dog's Mendelian part before anything is known of it. An approximation,
    held to simulation in the tests:

    - Errors run in families. Each dog's is half its parents' and a part of its own, of variance
      PEV − ¼(PEV of sire + PEV of dam). A sum is handed up by halves, youngest first, until it is
      one of own parts. So a popular sire's error weighs as often as he was used.
    - What records tell of own parts they tell within a year, as the years' conditions are taken
      off. The mean of a year's own parts stays as unknown as before: what the records took off
      each part is put back for the year's mean.
    """
    stock = pedigree.stock
    m, years = len(stock.places), len(weights)
    of_parents = np.append(error_variance, 0.0)
    own = error_variance - (of_parents[pedigree.sire] + of_parents[pedigree.dam]) / 4
    own = np.clip(own, 0.0, prior)
    given = _handed_up(pedigree, place, weights)
    # Dogs without offspring all count alike within a year, and they are most dogs.
    is_rest = np.ones(len(pedigree), dtype=bool)
    is_rest[stock.places] = False
    rest = place[is_rest]
    found: Numbers = np.bincount(rest, own[is_rest], minlength=years) @ weights**2
    found += own[stock.places] @ given**2
    of_years = np.bincount(rest, minlength=years)[:, None] * weights
    of_years += sparse.csr_array((np.ones(m), (place[stock.places], range(m))), (years, m)) @ given
    dogs = np.maximum(np.bincount(place, minlength=years), 1)
    found += np.bincount(place, prior - own, minlength=years) / dogs**2 @ of_years**2
    return found


def _handed_up(pedigree: Pedigree, place: NDArray[np.int64], weights: Numbers) -> Numbers:
    """Return what the own part of each dog with offspring counts in the sums, (m, k)."""
    stock = pedigree.stock
    m = len(stock.places)
    number = np.full(len(pedigree) + 1, m)
    number[stock.places] = np.arange(m)
    rest = np.flatnonzero(number[:-1] == m)
    given = np.vstack([weights[place[stock.places]], 0 * weights[:1]])
    for parent in (pedigree.sire[rest], pedigree.dam[rest]):
        half = np.full(len(rest), 0.5)
        shape = (m + 1, len(weights))
        given += sparse.csr_array((half, (number[parent], place[rest])), shape=shape) @ weights
    for level in reversed(stock.levels[1:]):
        np.add.at(given, stock.sire[level], given[level] / 2)
        np.add.at(given, stock.dam[level], given[level] / 2)
    return given[:-1]


def _mean_record(records: Numbers, fewest: int) -> Mean | None:
    if len(records) < max(fewest, 2):
        return None
    error = float(records.std(ddof=1)) / math.sqrt(len(records))
    half = float(student.ppf(0.975, len(records) - 1)) * error
    mean = float(records.mean())
    return Mean(mean, mean - half, mean + half)


def _around(mean: float, variance: float) -> Mean:
    half = _TWO_SIDED * math.sqrt(variance)
    return Mean(mean, mean - half, mean + half)
