"""Intervals for counts: how far chance alone could have moved a share.

Numbers in, a pair of numbers out. 95 % unless another confidence is given.
"""

from __future__ import annotations

import math
from statistics import NormalDist


def wilson(count: float, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the score interval of Wilson (1927) for count ÷ n.

    The count may hold a half (half of an equal dog). Source: Newcombe (1998), Stat Med 17:857-872,
    method 3.
    """
    _check(count, n)
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    share = count / n
    middle = share + z * z / (2 * n)
    spread = z * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    size = 1 + z * z / n
    # At no dogs or all dogs the end is exactly 0 or 1; rounding must not miss it.
    low = 0.0 if count == 0 else max(0.0, (middle - spread) / size)
    high = 1.0 if count == n else min(1.0, (middle + spread) / size)
    return low, high


def _check(count: float, n: int) -> None:
    if n < 1 or not 0 <= count <= n:
        raise ValueError("a share needs one dog or more, and a count from 0 to n")
