"""How things are timed here: what is measured and its reference take turns.

So a busy moment of the machine meets both, and the ratio of one round is a fair one. A row carries
the median of the rounds' ratios, and the lowest and highest beside it.
"""

from __future__ import annotations

import gc
import os
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from time import perf_counter
from typing import Any

QUICK = os.environ.get("SOUNDLINE_BENCH_QUICK") == "1"
"""Few rounds over little data: shows that a measurement runs, and measures nothing."""

Row = dict[str, Any]
"""``what``, ``against``, ``ratio``, ``goal``, ``detail``; and ``low``, ``high``, ``n``, ``is_met``
where they say more than the ratio does."""

Way = Callable[[], object]


@dataclass(frozen=True)
class Turns:
    """Seconds of the measured thing and of its reference, a pair for each round."""

    measured: Sequence[float]
    reference: Sequence[float]

    @property
    def ratios(self) -> list[float]:
        """Measured time over reference time, round by round."""
        return [own / other for own, other in zip(self.measured, self.reference, strict=True)]

    def row(self, *, what: str, against: str, goal: str, n: str, detail: str = "") -> Row:
        """The row of the table for a ratio of times."""
        own, other = statistics.median(self.measured), statistics.median(self.reference)
        times = f"{readable(own)} against {readable(other)}"
        return row_of(
            self.ratios,
            what=what,
            against=against,
            goal=goal,
            n=n,
            detail=f"{times}; {detail}" if detail else times,
        )


def row_of(
    ratios: Sequence[float], *, what: str, against: str, goal: str, n: str, detail: str
) -> Row:
    """A row of the table from the ratios of the rounds."""
    return {
        "what": what,
        "against": against,
        "ratio": statistics.median(ratios),
        "low": min(ratios),
        "high": max(ratios),
        "goal": goal,
        "n": n,
        "detail": detail,
    }


def in_turns(measured: Way, reference: Way, *, rounds: int, times: int = 1, warm: int = 1) -> Turns:
    """Time both in turn, ``times`` calls a round; the first ``warm`` rounds do not count."""
    seconds = take_turns([measured, reference], rounds=rounds, times=times, warm=warm)
    return Turns(*seconds)


def take_turns(
    ways: Sequence[Way], *, rounds: int, times: int = 1, warm: int = 1
) -> list[list[float]]:
    """Seconds a call of each way, round by round; every other round goes through them backwards."""
    seconds: list[list[float]] = [[] for _way in ways]
    for turn in range(warm + rounds):
        places = range(len(ways)) if turn % 2 else reversed(range(len(ways)))
        for place in places:
            seconds[place].append(_seconds(ways[place], times))
    return [times_of_way[warm:] for times_of_way in seconds]


def readable(seconds: float) -> str:
    """A time in the unit it is read best in."""
    for unit, size in (("s", 1.0), ("ms", 1e-3)):
        if seconds >= size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds * 1e6:.3g} µs"


def _seconds(way: Way, times: int) -> float:
    gc.collect()
    began = perf_counter()
    for _call in range(times):
        way()
    return (perf_counter() - began) / times
