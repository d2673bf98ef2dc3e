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

from dataclasses import dataclass

from registry.science.distribution import Histogram
from registry.science.intervals import wilson
from registry.science.scale import Better

FEWEST_TO_COMPARE = 20
FEWEST_FOR_HUNDRED = 100
FEWEST_FOR_ONES = 2400
"""From here on the 95 % interval of any share is narrower than ± 2 of 100."""


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


def spoken(place: Standing) -> Spoken | None:
    """Return the standing in whole numbers, or None when there are too few dogs to compare.

    Exact counts below 100 other dogs. Of 100 from there on: in fives, as chance moves a share by
    more than two, and in ones from 2,400 dogs on. The better and the worse dogs of the exact middle
    dog are the same number.
    """
    if place.too_few:
        return None
    counts = (place.better, place.equal, place.worse)
    if place.n < FEWEST_FOR_HUNDRED:
        return Spoken(*counts, place.n, 1, counts)
    precision = 1 if place.n >= FEWEST_FOR_ONES else 5
    better, same, worse = (precision * unit for unit in _apportioned(counts, 100 // precision))
    return Spoken(better, same, worse, 100, precision, counts)


def _apportioned(counts: tuple[int, int, int], units: int) -> tuple[int, ...]:
    """Better, same and worse dogs as so many units in all: largest remainders, so that each is less
    than one unit off, or one unit where only that keeps the middle dog in the middle.

    Of better and worse with one remainder the larger number gets the unit, so that a half goes away
    from the middle; where they are one number, the same dogs get it, or both do.
    """
    n = sum(counts)
    given = [count * units // n for count in counts]
    rest = [count * units % n for count in counts]
    left = units - sum(given)
    if counts[0] == counts[2]:
        # 0 to 2 units are left: none, one for the same dogs, one each for the two sides.
        given = [given[0] + (left == 2), given[1] + (left == 1), given[2] + (left == 2)]
    else:
        order = sorted(range(3), key=lambda part: (-rest[part], -counts[part], part == 1))
        for part in order[:left]:
            given[part] += 1
    return tuple(given)
