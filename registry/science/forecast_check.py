"""Forecasts held against what came: lean, slope, and how many came within the range that was said.

Arrays in, one row a puppy; estimates with their 95 % intervals out. Puppies of one litter are
alike, so every interval is made by leaving out one litter at a time (the jackknife: Efron & Stein
1981, Ann Stat 9:586-596). Litters of one sire are taken as unlike each other. Which puppies are
compared is not known here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from registry.science.intervals import wilson

Numbers = NDArray[np.float64]
Whole = NDArray[np.int64]

FEWEST_LITTERS, FEWEST_PUPPIES = 20, 40
"""With fewer there is nothing to tell (our choice)."""
SAID = 0.8
"""How many of all puppies the range of a forecast is said to hold."""
PARTS = 5
"""Into how many parts of equal share each forecast is cut."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its 95 % interval."""

    value: float
    low: float
    high: float

    def leaves_out(self, value: float) -> bool:
        """Whether the interval does not hold the value."""
        return not self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Check:
    """Forecasts against records, in the records' unit.

    ``inside`` is the share of puppies within their forecast's middle 80 of 100. ``lean`` is the
    mean of record − forecast, ``sd`` the forecasts' mean standard deviation, its yardstick.
    ``slope`` is the regression of record on forecast among litters born in one year: 1 when litters
    differ as much as was said, less when forecasts differ too much; None where no forecasts differ.
    ``parts`` counts the puppies by fifth of their own forecast, lowest records first.
    """

    puppies: int
    litters: int
    inside: Estimate
    lean: Estimate
    sd: float
    slope: Estimate | None
    parts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Later:
    """Values said early against those of the same dogs from later data: ``lean`` is the mean of
    early − later, ``slope`` that of later on early, ``ratio`` their correlation, which is the early
    accuracy over the later one."""

    dogs: int
    lean: Estimate
    slope: Estimate
    ratio: Estimate


def check(mean: Numbers, sd: Numbers, record: Numbers, litter: Whole, year: Whole) -> Check | None:
    """Compare; all (n,). ``litter`` and ``year`` (of birth) are codes. None with too few."""
    litters = np.unique(litter, return_inverse=True)[1]
    n, count = len(record), int(litters.max(initial=-1)) + 1
    if n < FEWEST_PUPPIES or count < FEWEST_LITTERS:
        return None
    apart = record - mean
    is_inside = np.abs(apart) <= sd * ndtri((1 + SAID) / 2)
    one = np.ones(n)
    bounds = ndtri(np.arange(1, PARTS) / PARTS)
    return Check(
        puppies=n,
        litters=count,
        inside=_share(is_inside, litters),
        lean=_jackknife([one, apart], litters, lambda s: s[1] / s[0]),
        sd=float(sd.mean()),
        slope=_slope_within(mean, record, litters, year),
        parts=tuple(np.bincount(np.searchsorted(bounds, apart / sd), minlength=PARTS).tolist()),
    )


def against_later(early: Numbers, later: Numbers, litter: Whole) -> Later | None:
    """Compare breeding values said early with later ones of the same dogs; None with too few.

    Source: Legarra & Reverter (2018), Genet Sel Evol 50:53: bias, dispersion and ratio of
    accuracies, for dogs that had no records when the early values were made.
    """
    litters = np.unique(litter, return_inverse=True)[1]
    n, count = len(early), int(litters.max(initial=-1)) + 1
    if n < FEWEST_PUPPIES or count < FEWEST_LITTERS or np.ptp(early) == 0 or np.ptp(later) == 0:
        return None
    # About the mean, so that no digits are lost in differences of squares.
    x, y = early - early.mean(), later - later.mean()
    moments = [np.ones(n), x, y, x * x, x * y, y * y]
    return Later(
        dogs=n,
        lean=_jackknife([np.ones(n), early - later], litters, lambda s: s[1] / s[0]),
        slope=_jackknife(moments, litters, lambda s: _co(s, 1, 2, 4) / _co(s, 1, 1, 3)),
        ratio=_jackknife(
            moments,
            litters,
            lambda s: _co(s, 1, 2, 4) / np.sqrt(_co(s, 1, 1, 3) * _co(s, 2, 2, 5)),
        ),
    )


def _co(sums: Numbers, one: int, other: int, product: int) -> Numbers:
    """The covariance, times n, from sums."""
    found: Numbers = sums[product] - sums[one] * sums[other] / sums[0]
    return found


def _share(is_inside: NDArray[np.bool_], litters: Whole) -> Estimate:
    """The share with Wilson's interval for as many independent puppies as these are worth."""
    n = len(is_inside)
    share = float(is_inside.mean())
    worth = float(litters.max() + 1)
    if 0 < share < 1:
        rows = _sums([np.ones(n), is_inside.astype(np.float64)], litters)
        variance = _variance(rows, lambda s: s[1] / s[0])
        worth = n / max(1.0, variance * n / (share * (1 - share)))
    # A whole number of dogs is not needed, only their number's weight.
    low, high = wilson(share * math.floor(worth), math.floor(worth))
    return Estimate(share, low, high)


def _slope_within(mean: Numbers, record: Numbers, litters: Whole, year: Whole) -> Estimate | None:
    """The slope among litters of one birth year: years that were good or bad for all are no merit
    of forecasts, and no fault."""
    years = np.unique(year, return_inverse=True)[1]
    x, y = (each - _means(each, years)[years] for each in (mean, record))
    # What is left of equal numbers by rounding is no difference.
    if float(x @ x) <= 1e-18 * float(mean @ mean):
        return None
    taken = int(years.max())
    return _jackknife([x * x, x * y], litters, lambda s: s[1] / s[0], taken=taken)


def _means(values: Numbers, codes: Whole) -> Numbers:
    found: Numbers = np.bincount(codes, values) / np.bincount(codes)
    return found


def _sums(columns: list[Numbers], litters: Whole) -> Numbers:
    """Each column's sum by litter, (columns, litters)."""
    return np.array([np.bincount(litters, column) for column in columns])


def _variance(rows: Numbers, statistic: Callable[[Numbers], Numbers]) -> float:
    """The jackknife variance of a statistic of sums; ``rows`` are each litter's sums."""
    count = rows.shape[1]
    without = statistic(rows.sum(axis=1, keepdims=True) - rows)
    return float((count - 1) / count * ((without - without.mean()) ** 2).sum())


def _jackknife(
    columns: list[Numbers],
    litters: Whole,
    statistic: Callable[[Numbers], Numbers],
    *,
    taken: int = 0,
) -> Estimate:
    """The statistic of the columns' sums, with Student's interval; ``taken`` degrees of freedom
    went into means."""
    rows = _sums(columns, litters)
    value = float(statistic(rows.sum(axis=1)))
    freedom = max(1, rows.shape[1] - 1 - taken)
    half = float(stdtrit(freedom, 0.975)) * math.sqrt(_variance(rows, statistic))
    return Estimate(value, value - half, value + half)
