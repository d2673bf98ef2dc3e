"""Where a dog stands among the tested dogs of its breed, and how exactly that may be said.

A histogram and a step in, counts, a share and an interval out; then the same as whole numbers "of
100", rounded no finer than the number of dogs allows. The sentence around these numbers belongs to
the pages.

The convention: the dog itself is one of the counted dogs, so it is one of ``equal``, and better +
equal + worse = n. ``share`` is the part of the breed that is better than the dog, its equals
counted half: (better + equal / 2) / n. Near 0 is best, whichever end of the scale is better.
"""

from __future__ import annotations

from dataclasses import dataclass

from registry.science.distribution import Histogram
from registry.science.intervals import wilson
from registry.science.scale import Better

FEWEST_TO_COMPARE = 20


@dataclass(frozen=True)
class Standing:
    """Counts of dogs better than, equal to and worse than one dog.

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
        """Whether the breed has too few tested dogs to compare."""
        return self.n < FEWEST_TO_COMPARE


@dataclass(frozen=True)
class InHundred:
    """A standing as whole numbers of 100 dogs: better + same + worse = 100.

    Each is a multiple of ``precision``. ``low`` to ``high`` is the 95 % Wilson interval of
    ``better``, rounded alike. ``few_better`` and ``few_worse`` say that there are such dogs, but
    fewer than the precision can show: say "fewer than", not "about".
    """

    better: int
    same: int
    worse: int
    precision: int
    low: int
    high: int
    few_better: bool
    few_worse: bool


def standing(histogram: Histogram, step: int, better: Better) -> Standing:
    """Return where a dog with this step stands in the histogram."""
    below, equal, above = histogram.below(step), histogram.at(step), histogram.above(step)
    ahead, behind = (below, above) if better == "lower" else (above, below)
    n = ahead + equal + behind
    if n < FEWEST_TO_COMPARE:
        return Standing(ahead, equal, behind, n, None, None, None)
    count = ahead + equal / 2
    low, high = wilson(count, n)
    return Standing(ahead, equal, behind, n, count / n, low, high)


def in_hundred(place: Standing) -> InHundred | None:
    """Return the standing of 100 dogs, or None when there are too few dogs to compare.

    Rounded to tens for 20 to 99 dogs, to fives for 100 to 399, to ones from 400, as chance moves
    the share by more than that. Nobody better is 0 and only then; everybody better is 100 and only
    then; the same for worse.
    """
    if place.too_few:
        return None
    precision = _precision(place.n)
    # Halves to even: of two numbers that make 100, one half goes up and the other down.
    better = _rounded(place.better, place.n, precision)
    worse = _rounded(place.worse, place.n, precision)
    low, high = (precision * round(100 * end / precision) for end in wilson(place.better, place.n))
    return InHundred(
        better=better,
        same=100 - better - worse,
        worse=worse,
        precision=precision,
        low=min(low, better),
        high=max(high, better),
        few_better=_is_few(place.better, place.n, precision),
        few_worse=_is_few(place.worse, place.n, precision),
    )


def _precision(n: int) -> int:
    if n < 100:
        return 10
    return 5 if n < 400 else 1


def _rounded(count: int, n: int, precision: int) -> int:
    if count in (0, n):
        return 100 if count else 0
    nearest = precision * round(100 * count / n / precision)
    return min(max(nearest, precision), 100 - precision)


def _is_few(count: int, n: int, precision: int) -> bool:
    return count > 0 and round(100 * count / n / precision) == 0
