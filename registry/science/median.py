"""How far chance alone could have moved a median: which two ranks it lies between.

Apart from ``intervals`` because it alone needs scipy, which no page should wait for.
"""

from __future__ import annotations

from scipy.special import bdtr


def median_ranks(n: int, confidence: float = 0.95) -> tuple[int, int] | None:
    """Return the ranks (1 = lowest) between which the median lies with at least the confidence.

    Exact, from the binomial distribution with share ½; None when n is too small for any such pair
    (below six at 95 %). Source: Conover (1999), Practical Nonparametric Statistics, ch. 3.
    """
    outside = (1 - confidence) / 2
    # The largest rank with at most that much probability below it, by bisection.
    rank, too_high = 0, n // 2 + 1
    while too_high - rank > 1:
        tried = (rank + too_high) // 2
        if float(bdtr(tried - 1, n, 0.5)) <= outside:
            rank = tried
        else:
            too_high = tried
    return (rank, n + 1 - rank) if rank else None
