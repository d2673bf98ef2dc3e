"""The breed's middle dog under other circumstances: where it would stand among the counted dogs.

Histograms of one trait in, places of 100 out: how many of 100 dogs are better than a dog with some
value. A value may lie between two steps, as a mean or a clinic's difference does, so each step's
dogs are spread evenly over its width; the middle dog of a distribution then stands at 50 of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from registry.science.distribution import Histogram
from registry.science.intervals import wilson
from registry.science.scale import Better
from registry.science.standing import FEWEST_TO_COMPARE

MOVED_BY = 5.0
"""Of 100: a middle dog that is moved by more is told of."""
_PRECISION = 5
_CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class ClinicEffect:
    """How far a clinic's records lie from the mean of all, other things equal, in the trait's unit;
    ``clinic`` is its key, ``error`` the standard error."""

    clinic: int
    records: int
    effect: float
    error: float

    def interval(self, confidence: float = _CONFIDENCE) -> tuple[float, float]:
        """The interval that holds the true difference so often, if errors are normal."""
        spread = NormalDist().inv_cdf(0.5 + confidence / 2) * self.error
        return self.effect - spread, self.effect + spread

    def is_beyond_chance(self, confidence: float = _CONFIDENCE) -> bool:
        """Whether the interval leaves out 0."""
        low, high = self.interval(confidence)
        return low > 0 or high < 0


def place_of_100(counts: Histogram, step: float, better: Better) -> float:
    """Return how many of 100 counted dogs are better than a dog at ``step``, whole or between two.

    Raises ValueError without dogs.
    """
    if not counts.n:
        raise ValueError("no dogs, no place")
    nearest = round(step)
    below = counts.below(nearest) + counts.at(nearest) * (step - nearest + 0.5)
    return 100 * (below if better == "lower" else counts.n - below) / counts.n


def middle_step(counts: Histogram) -> float:
    """Return the step at which half of 100 are better: the inverse of ``place_of_100`` at 50."""
    step, half = round(counts.quantile(0.5)), counts.n / 2
    while counts.below(step) > half:
        step -= 1
    while counts.below(step + 1) < half:
        step += 1
    return step - 0.5 + (half - counts.below(step)) / max(counts.at(step), 1)


def middle_by_clinic(
    counts: Histogram, effects: Sequence[ClinicEffect], resolution: float, better: Better
) -> tuple[int, int] | None:
    """Return the lowest and the highest place of 100 at which one and the same middle dog stands,
    depending on the clinic, in fives; None where clinics move it by MOVED_BY or less.

    Only clinics with FEWEST_TO_COMPARE records speak. One of them must differ beyond chance, where
    each is allowed its part of 5 %. Each difference is drawn towards 0 as far as its error asks
    (variance between clinics by moments), so that the widest are not overstated.
    """
    heard = [each for each in effects if each.records >= FEWEST_TO_COMPARE]
    if len(heard) < 2 or counts.n < FEWEST_TO_COMPARE:
        return None
    strict = 1 - (1 - _CONFIDENCE) / len(heard)
    if not any(each.is_beyond_chance(strict) for each in heard):
        return None
    between = sum(each.effect**2 - each.error**2 for each in heard) / len(heard)
    between = max(between, 0.0)
    middle = middle_step(counts)
    places = [
        place_of_100(counts, middle + _drawn(each, between) / resolution, better) for each in heard
    ]
    low, high = (_in_fives(place) for place in (min(places), max(places)))
    is_moved = max(abs(place - 50) for place in places) > MOVED_BY
    return (low, high) if is_moved and low < high else None


def _drawn(each: ClinicEffect, between: float) -> float:
    total = between + each.error**2
    return each.effect * between / total if total else 0.0


def _in_fives(place: float) -> int:
    return int(_PRECISION * round(place / _PRECISION))


def newer_middle(whole: Histogram, newer: Histogram, better: Better) -> int | None:
    """Return how many of 100 of ``whole`` are better than the middle dog of ``newer``, in fives;
    None where it is within MOVED_BY of the middle, or could be there by chance.

    ``newer`` is a part of ``whole``. Beyond chance: the 95 % interval (Wilson) of the share of the
    newer dogs that is better than the middle dog of all leaves out a half. It is wider than need
    be, since the newer dogs are among all.
    """
    if newer.n < FEWEST_TO_COMPARE:
        return None
    place = place_of_100(whole, middle_step(newer), better)
    share = place_of_100(newer, middle_step(whole), better) / 100
    low, high = wilson(share * newer.n, newer.n)
    is_told = abs(place - 50) > MOVED_BY and not low <= 0.5 <= high
    return _in_fives(place) if is_told else None
