"""Where a dog stands among the other tested dogs of its breed, and how exactly that may be said.

A histogram and a step in, counts, a share and intervals out; then the same as whole numbers,
rounded no finer than the number of dogs allows. The sentence around these numbers belongs to the
pages.

The convention: a dog is compared with the *other* dogs and is never one of them, so better + equal
+ worse = n, the number of other dogs. ``others`` takes the dog out of counts that hold it.
``share`` is the part of the others that is better than the dog, its equals counted half: (better +
equal / 2) / n. Near 0 is best, whichever end of the scale is better; the middle dog has a half.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

from registry.science.distribution import Histogram
from registry.science.intervals import wilson
from registry.science.scale import Better

FEWEST_TO_COMPARE = 20
FEWEST_FOR_HUNDRED = 100
FEWEST_FOR_ONES = 2400
"""From here on the 95 % interval of any share is narrower than ± 2 of 100."""

_WIDEST_FOR_ONES = 4
_Z95 = NormalDist().inv_cdf(0.975)


@dataclass(frozen=True)
class Standing:
    """Counts of other dogs better than, equal to and worse than one dog; ``n`` is all of them.

    ``share`` and its 95 % Wilson interval ``low`` to ``high`` are 0 to 1, and None when there are
    too few dogs, so that nobody can show them by oversight.
    """

    better: int
    equal: int
    worse: int
    n: int
    share: float | None
    low: float | None
    high: float | None

    @property
    def too_few(self) -> bool:
        """Whether the breed has too few other tested dogs to compare."""
        return self.n < FEWEST_TO_COMPARE

    @classmethod
    def of(cls, better: int, equal: int, worse: int) -> Standing:
        """The standing of these counts of other dogs."""
        n = better + equal + worse
        if n < FEWEST_TO_COMPARE:
            return cls(better, equal, worse, n, None, None, None)
        count = better + equal / 2
        return cls(better, equal, worse, n, count / n, *wilson(count, n))


@dataclass(frozen=True)
class Span:
    """From how many to how many dogs might be better than the dog."""

    low: int
    high: int


@dataclass(frozen=True)
class Spoken:
    """A standing as whole numbers ``of`` so many dogs: better + same + worse = of.

    ``of`` is the number of other dogs itself below 100, and the numbers are exact; else it is 100,
    and each is a multiple of ``precision``. A number of 0 may stand for a few dogs, and one of 100
    for nearly all: ``words`` of the sentence tell them by ``counts``, which are exact. ``low`` to
    ``high`` is the interval of ``better``, rounded outwards, None without one.
    """

    better: int
    same: int
    worse: int
    of: int
    precision: int
    counts: tuple[int, int, int]
    low: int | None
    high: int | None

    @property
    def is_exact(self) -> bool:
        """Whether the numbers are the dogs themselves."""
        return self.of < FEWEST_FOR_HUNDRED


def others(histogram: Histogram, step: int, *, own_is_inside: bool) -> Histogram:
    """The counts without the dog that has this step; ``own_is_inside`` says that they hold it."""
    return histogram.remove(step) if own_is_inside else histogram


def standing(among: Histogram, step: int, better: Better) -> Standing:
    """Return where a dog with this step stands among other dogs."""
    below, equal, above = among.below(step), among.at(step), among.above(step)
    return Standing.of(*((below, equal, above) if better == "lower" else (above, equal, below)))


def second_exam(among: Histogram, step: int, better: Better, *, sd_steps: float) -> Span:
    """Return how many dogs might be better than the dog by a second examination of it, 95 times of
    100.

    ``sd_steps`` is the within-dog standard deviation of the value that speaks for the dog, in
    steps. Both examinations carry the error, so two of them differ by less than 1.96 × √2 ×
    ``sd_steps`` 95 times of 100: the repeatability of Bland & Altman (1996), BMJ 313:744. The ends
    are rounded outwards to whole steps.
    """
    reach = _Z95 * math.sqrt(2) * sd_steps
    lowest, highest = math.floor(step - reach), math.ceil(step + reach)
    if better == "lower":
        return Span(among.below(lowest), among.below(highest))
    return Span(among.above(highest), among.above(lowest))


def joined(place: Standing, second: Span) -> tuple[float, float]:
    """Return the interval, 0 to 1, of the share of better dogs that holds both what a second
    examination could give and what other dogs of the breed, had they been tested, could have."""
    low, high = wilson(place.better, place.n)
    return min(low, second.low / place.n), max(high, second.high / place.n)


def spoken(place: Standing, second: Span | None = None) -> Spoken | None:
    """Return the standing in whole numbers, or None when there are too few dogs to compare.

    Exact counts below 100 other dogs. Of 100 from there on: in fives, as chance moves a share by
    more than two; in ones from 2,400 dogs on where the interval is narrower than ± 2. The better
    and the worse dogs of the exact middle dog are the same number. ``better`` lies between ``low``
    and ``high`` and is neither, unless it is 0 or all.
    """
    if place.too_few:
        return None
    counts = (place.better, place.equal, place.worse)
    of = place.n if place.n < FEWEST_FOR_HUNDRED else 100
    interval = joined(place, second) if second else None
    precision = 1 if of < FEWEST_FOR_HUNDRED else _precision(place.n, interval)
    units = counts if place.n < FEWEST_FOR_HUNDRED else _apportioned(counts, of // precision)
    better, same, worse = (precision * unit for unit in units)
    low, high = _outwards(interval, better, of, precision) if interval else (None, None)
    return Spoken(better, same, worse, of, precision, counts, low, high)


def _precision(n: int, interval: tuple[float, float] | None) -> int:
    if n < FEWEST_FOR_ONES:
        return 5
    return 1 if interval is None or 100 * (interval[1] - interval[0]) < _WIDEST_FOR_ONES else 5


def _apportioned(counts: tuple[int, int, int], units: int) -> tuple[int, ...]:
    """Better, same and worse dogs as so many units in all.

    Better and worse, which are always told, get their nearest number, a half going away from the
    middle, and the same dogs what is left. Where that would leave them less than nothing, all
    three get largest remainders. Better and worse dogs that are as many stay as many.
    """
    n = sum(counts)
    given = [count * units // n for count in counts]
    rest = [count * units % n for count in counts]
    left = units - sum(given)
    if counts[0] == counts[2]:
        # 0 to 2 units are left: none, one for the same dogs, one each for the two sides.
        return given[0] + (left == 2), given[1] + (left == 1), given[2] + (left == 2)
    better, worse = (given[part] + (2 * rest[part] + (2 * counts[part] > n) > n) for part in (0, 2))
    if better + worse <= units:
        return better, units - better - worse, worse
    order = sorted(range(3), key=lambda part: (-rest[part], -counts[part], part == 1))
    for part in order[:left]:
        given[part] += 1
    return tuple(given)


def _outwards(
    interval: tuple[float, float], better: int, of: int, precision: int
) -> tuple[int, int]:
    """The interval in whole numbers, each end rounded away from ``better`` and never on it."""
    # A rounding error of floating point must not move an end by a whole number.
    low = precision * math.floor(of * interval[0] / precision + 1e-9)
    high = precision * math.ceil(of * interval[1] / precision - 1e-9)
    return max(min(low, better - precision), 0), min(max(high, better + precision), of)
