"""The plain way to inbreeding and kinship, to measure ours against: one dog after the other.

Meuwissen & Luo (1992), Genet Sel Evol 24:305-313, in plain Python: the ancestors of a dog are gone
through from the youngest, each handing half of its share on to each parent. Dogs must come parents
first; -1 is an unknown parent.
"""

from __future__ import annotations

from heapq import heappop, heappush


def inbreeding(sire: list[int], dam: list[int]) -> list[float]:
    """The inbreeding of every dog; littermates copy that of the first one."""
    found: list[float] = []
    variance: list[float] = []
    of_mating: dict[tuple[int, int], float] = {}
    for dog in range(len(sire)):
        one, other = sire[dog], dam[dog]
        own_one = found[one] if one >= 0 else -1.0
        own_other = found[other] if other >= 0 else -1.0
        own = 0.5 - 0.25 * (own_one + own_other)
        if one < 0 or other < 0:
            value = 0.0
        elif (one, other) in of_mating:
            value = of_mating[one, other]
        else:
            value = of_mating[one, other] = own - 1 + _shared(sire, dam, variance, one, other)
        found.append(value)
        variance.append(own)
    return found


def mendelian_variances(sire: list[int], dam: list[int], found: list[float]) -> list[float]:
    """What the parents leave open, dog by dog."""
    known = [*found, -1.0]
    return [0.5 - 0.25 * (known[one] + known[other]) for one, other in zip(sire, dam, strict=True)]


def kinship(
    sire: list[int],
    dam: list[int],
    found: list[float],
    variance: list[float],
    one: int,
    other: int,
) -> float:
    """The kinship of two dogs, which is the inbreeding of a puppy of theirs."""
    own = 0.5 - 0.25 * (found[one] + found[other])
    return own - 1 + _shared(sire, dam, variance, one, other)


def _shared(sire: list[int], dam: list[int], variance: list[float], one: int, other: int) -> float:
    """The sum over a puppy's ancestors of (share of its genes)² times Mendelian variance."""
    share = {one: 0.5}
    share[other] = share.get(other, 0.0) + 0.5
    waiting: list[int] = []
    for parent in share:
        heappush(waiting, -parent)
    total = 0.0
    while waiting:
        dog = -heappop(waiting)
        own = share.pop(dog)
        total += own * own * variance[dog]
        for parent in (sire[dog], dam[dog]):
            if parent < 0:
                continue
            if parent in share:
                share[parent] += own / 2
            else:
                share[parent] = own / 2
                heappush(waiting, -parent)
    return total
