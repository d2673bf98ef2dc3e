"""The distribution of a trait in a breed: exact counts of dogs by whole step of the trait's scale.

One value object, ``Histogram``, and the rolling window over months. A histogram is small (one count
a step), adds up, and answers the same whether the breed has forty tested dogs or a hundred
thousand. Where a dog stands in it is in ``standing``; building all counts anew from the evaluations
is in ``counting``.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

# Wider than any trait's scale: a value this far from the others is an error, not a dog.
_WIDEST = 100_000
_HEADER = struct.Struct("<BBi")
_FORMAT = 1
_WIDTHS = (1, 2, 4, 8)


@dataclass(frozen=True, eq=False)
class Histogram:
    """Dogs by step: ``counts[i]`` dogs have the value ``first_step + i``.

    Always trimmed: the first and the last count are not zero, and no dogs at all is first step 0
    with no counts. So equal distributions are equal objects and equal bytes. ``counts`` is int64
    and cannot be written to.
    """

    first_step: int
    counts: NDArray[np.int64]

    def __post_init__(self) -> None:
        counts = np.array(self.counts, dtype=np.int64)
        if counts.ndim != 1 or counts.min(initial=0) < 0:
            raise ValueError("counts must be one row of whole numbers, none below zero")
        low, high = 0, len(counts)
        # What was packed is trimmed already, and a page unpacks many.
        if high and not (counts[0] and counts[-1]):
            (taken,) = counts.nonzero()
            low, high = (int(taken[0]), int(taken[-1]) + 1) if len(taken) else (0, 0)
            counts = counts[low:high].copy()
        if high - low > _WIDEST:
            raise ValueError(f"values more than {_WIDEST} steps apart are not one distribution")
        counts.flags.writeable = False
        object.__setattr__(self, "first_step", int(self.first_step) + low if len(counts) else 0)
        object.__setattr__(self, "counts", counts)

    @classmethod
    def empty(cls) -> Histogram:
        """Return the distribution of no dogs."""
        return cls(0, np.zeros(0, dtype=np.int64))

    @classmethod
    def of_steps(cls, steps: Iterable[int]) -> Histogram:
        """Return the distribution of dogs given one step each."""
        return cls.of_counts((step, 1) for step in steps)

    @classmethod
    def of_counts(cls, rows: Mapping[int, int] | Iterable[tuple[int, int]]) -> Histogram:
        """Return the distribution of (step, dogs) rows; rows of one step add up."""
        pairs = list(rows.items() if isinstance(rows, Mapping) else rows)
        if not pairs:
            return cls.empty()
        first = min(step for step, _ in pairs)
        width = max(step for step, _ in pairs) - first + 1
        if width > _WIDEST:
            raise ValueError(f"values more than {_WIDEST} steps apart are not one distribution")
        counts = np.zeros(width, dtype=np.int64)
        for step, dogs in pairs:
            counts[step - first] += dogs
        return cls(first, counts)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Histogram):
            return NotImplemented
        same = self.first_step == other.first_step
        return same and np.array_equal(self.counts, other.counts)

    def __hash__(self) -> int:
        return hash((self.first_step, self.counts.tobytes()))

    # --- what is counted ---

    @property
    def n(self) -> int:
        """The number of dogs."""
        return int(self.counts.sum())

    @property
    def last_step(self) -> int:
        """The highest step a dog has; meaningless without dogs."""
        return self.first_step + len(self.counts) - 1

    def rows(self) -> list[tuple[int, int]]:
        """Return (step, dogs) for each step that any dog has, lowest first."""
        counted = enumerate(self.counts.tolist(), self.first_step)
        return [(step, dogs) for step, dogs in counted if dogs]

    def at(self, step: int) -> int:
        """Return the number of dogs with exactly this step."""
        place = step - self.first_step
        return int(self.counts[place]) if 0 <= place < len(self.counts) else 0

    def below(self, step: int) -> int:
        """Return the number of dogs with a lower step."""
        return int(self.counts[: max(step - self.first_step, 0)].sum())

    def above(self, step: int) -> int:
        """Return the number of dogs with a higher step."""
        return int(self.counts[max(step - self.first_step + 1, 0) :].sum())

    # --- change, by making a new one ---

    def add(self, step: int, dogs: int = 1) -> Histogram:
        """Return the distribution with so many more dogs at the step."""
        return self.merge(Histogram.of_counts([(step, dogs)]))

    def remove(self, step: int, dogs: int = 1) -> Histogram:
        """Return the distribution with so many fewer dogs at the step.

        Raises ValueError when there are not that many: a count below zero would mean that the
        stored distribution and the results behind it have come apart.
        """
        if dogs < 1 or self.at(step) < dogs:
            raise ValueError(f"{self.at(step)} dogs are counted at step {step}, not {dogs} or more")
        counts = self.counts.copy()
        counts[step - self.first_step] -= dogs
        return Histogram(self.first_step, counts)

    def merge(self, other: Histogram) -> Histogram:
        """Return both distributions added up."""
        if not len(self.counts) or not len(other.counts):
            return self if len(self.counts) else other
        first = min(self.first_step, other.first_step)
        width = max(self.last_step, other.last_step) - first + 1
        if width > _WIDEST:
            raise ValueError(f"values more than {_WIDEST} steps apart are not one distribution")
        counts = np.zeros(width, dtype=np.int64)
        for part in (self, other):
            start = part.first_step - first
            counts[start : start + len(part.counts)] += part.counts
        return Histogram(first, counts)

    # --- what it says ---

    def quantile(self, share: float) -> float:
        """Return the quantile in steps, by type 7 of Hyndman & Fan (1996), Am Stat 50:361-365.

        Type 7 interpolates between the order statistics around place (n - 1) × share + 1. ``share``
        is 0 to 1. Raises ValueError without dogs.
        """
        dogs = self.n
        if not dogs or not 0 <= share <= 1:
            raise ValueError("a quantile needs a dog, and a share from 0 to 1")
        place = (dogs - 1) * share
        lower = math.floor(place)
        up_to = self.counts.cumsum()
        low, high = np.searchsorted(up_to, [lower, min(lower + 1, dogs - 1)], side="right")
        return self.first_step + float(low) + (place - lower) * float(high - low)

    def mean(self, resolution: Decimal = Decimal(1)) -> float:
        """Return the mean, in the unit of the resolution (in steps by default), correctly rounded.

        Raises ValueError without dogs.
        """
        dogs, total, _ = self._sums()
        if not dogs:
            raise ValueError("no dogs, no mean")
        return float((self.first_step + Fraction(total, dogs)) * Fraction(resolution))

    def sd(self, resolution: Decimal = Decimal(1)) -> float:
        """Return the standard deviation with divisor n - 1, in the unit of the resolution.

        The variance is exact in whole numbers and rounded once. Raises ValueError below two dogs.
        """
        dogs, total, squares = self._sums()
        if dogs < 2:
            raise ValueError("a standard deviation needs two dogs")
        variance = Fraction(dogs * squares - total * total, dogs * (dogs - 1))
        return math.sqrt(variance * Fraction(resolution) ** 2)

    def _sums(self) -> tuple[int, int, int]:
        """Return n, and the sums of (step - first step) and of its square, as whole numbers."""
        places = range(len(self.counts))
        counts = self.counts.tolist()
        return (
            sum(counts),
            sum(dogs * at for dogs, at in zip(counts, places, strict=True)),
            sum(dogs * at * at for dogs, at in zip(counts, places, strict=True)),
        )

    # --- storage ---

    def pack(self) -> bytes:
        """Return the histogram as bytes: the same histogram always gives the same bytes.

        Six bytes of header (format, bytes per count, first step as int32), then the counts, all
        little-endian, in the narrowest of 1, 2, 4 and 8 bytes that holds the largest count.
        """
        largest = int(self.counts.max(initial=0))
        width = next(width for width in _WIDTHS if largest < 256**width)
        body = self.counts.astype(f"<u{width}").tobytes()
        return _HEADER.pack(_FORMAT, width, self.first_step) + body

    @classmethod
    def unpack(cls, packed: bytes | bytearray | memoryview) -> Histogram:
        """Return the histogram of what ``pack`` wrote. Raises ValueError for anything else."""
        data = bytes(packed)
        if len(data) < _HEADER.size:
            raise ValueError("too short for a packed histogram")
        version, width, first_step = _HEADER.unpack_from(data)
        if version != _FORMAT or width not in _WIDTHS or (len(data) - _HEADER.size) % width:
            raise ValueError("not a packed histogram of a format known here")
        return cls(first_step, np.frombuffer(data, dtype=f"<u{width}", offset=_HEADER.size))


def month_number(day: date) -> int:
    """Return the month of a day as one whole number that counts on without gaps."""
    return day.year * 12 + day.month - 1


def first_month(last_month: date, months: int) -> date:
    """Return the first day of the first month of a window of so many months up to last_month."""
    if months < 1:
        raise ValueError("a window has one month or more")
    year, month = divmod(month_number(last_month) - months + 1, 12)
    return date(year, month + 1, 1)


def window(rows: Iterable[tuple[date, int, int]], last_month: date, months: int) -> Histogram:
    """Return the distribution of the (month, step, dogs) rows inside the window, both ends in."""
    start, end = month_number(first_month(last_month, months)), month_number(last_month)
    return Histogram.of_counts(
        (step, dogs) for month, step, dogs in rows if start <= month_number(month) <= end
    )
