"""What may be expected of a pair's puppies in a trait of ordered grades: a share for each grade.

The shares are those of a liability cut at the breed's own thresholds, which are where they give the
breed's own shares back when nothing is known of the parents. Grades ascend from the best one. How
the values come about is in ``threshold``; every word about them does not belong here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from registry.science.mixed_model import Variances

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class GradedBreed:
    """A breed's tested dogs of its window, as forecasts and courses need them.

    ``shares`` of each grade, best first, together 1. ``mean`` is their mean breeding value on the
    liability, ``spread`` the variance of their fixed parts: sex, clinic, year and age differ among
    puppies to come as they do among them.
    """

    shares: tuple[float, ...]
    mean: float
    spread: float
    variances: Variances

    @property
    def total(self) -> float:
        """The variance of the liability in the breed."""
        return self.variances.total + self.spread

    @property
    def thresholds(self) -> Numbers:
        """Where the liability is cut, one less than grades; infinite beyond the last dog."""
        inner = np.clip(np.cumsum(self.shares)[:-1], 0.0, 1.0)
        # A sum of shares that ends a hair beside 1 is 1: no dog is beyond it.
        inner[inner > 1 - 1e-12] = 1.0
        return np.asarray(self.mean + math.sqrt(self.total) * ndtri(inner))

    def shares_at(self, mean: float, variance: float | None = None) -> tuple[float, ...]:
        """Return the shares of each grade among dogs whose liability has this mean and variance.

        Without a variance it is the breed's.
        """
        sd = math.sqrt(self.total if variance is None else variance)
        below = ndtr((self.thresholds - mean) / sd)
        return tuple(np.diff(below, prepend=0.0, append=1.0).tolist())


@dataclass(frozen=True)
class GradeForecast:
    """The expected shares of each grade among a pair's puppies, best first, beside the breed's.

    ``mean`` and ``sd`` are those of a puppy's liability, higher being worse; ``inbreeding`` is the
    puppies' expected coefficient.
    """

    shares: tuple[float, ...]
    breed_shares: tuple[float, ...]
    mean: float
    sd: float
    inbreeding: float

    @property
    def best(self) -> float:
        """The share of puppies expected with the best grade."""
        return self.shares[0]

    def puppies(self, of: int) -> tuple[int, ...]:
        """Return how many of so many puppies have each grade, in whole numbers that add up."""
        return dealt(self.shares, of)


def grade_forecast(
    *,
    sire_value: float,
    dam_value: float,
    sire_error_variance: float,
    dam_error_variance: float,
    sire_inbreeding: float,
    dam_inbreeding: float,
    kinship: float,
    breed: GradedBreed,
) -> GradeForecast:
    """Return the shares of grades to expect of a pair, from values on the liability.

    Mean ½(V of sire + V of dam); variance ¼(PEV of sire + PEV of dam) + ½(1 − ½(F of sire + F of
    dam))·σ²a + σ²c + 1 + the spread of the fixed part: that of ``litter.forecast``, on the scale of
    Dempster & Lerner (1950), Genetics 35:212-236. With values at the breed's mean and nothing
    known, parents not inbred, the variance is the breed's, and so are the shares. Raises ValueError
    for numbers that no pair can have.
    """
    if min(sire_error_variance, dam_error_variance) < 0:
        raise ValueError("an error variance cannot be negative")
    if not all(0 <= each <= 1 for each in (sire_inbreeding, dam_inbreeding, kinship)):
        raise ValueError("inbreeding and kinship lie between 0 and 1")
    of_parents = (sire_error_variance + dam_error_variance) / 4
    mendelian = (1 - (sire_inbreeding + dam_inbreeding) / 2) / 2 * breed.variances.additive
    mean = (sire_value + dam_value) / 2
    variance = (
        of_parents + mendelian + breed.variances.litter + breed.variances.residual + breed.spread
    )
    return GradeForecast(
        shares=breed.shares_at(mean, variance),
        breed_shares=breed.shares,
        mean=mean,
        sd=math.sqrt(variance),
        inbreeding=kinship,
    )


def dealt(shares: Sequence[float], of: int) -> tuple[int, ...]:
    """Return whole numbers in proportion to shares that add up to ``of``: largest remainders."""
    exact = np.asarray(shares) * of
    found = np.floor(exact + 1e-9)
    order = np.argsort(found - exact, kind="stable")
    found[order[: max(0, round(of - found.sum()))]] += 1
    return tuple(int(each) for each in found)
