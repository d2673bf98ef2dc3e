"""The pedigree as arrays: who descends from whom, parents before offspring.

Places (row numbers of the caller's arrays) in, order and levels out; the inbreeding, the kinships
and the relationship matrix that follow from them are in their own modules. No names, no dates, no
sexes: those are guarded where a dog is registered.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from registry.science.stock import Places, Stock

UNKNOWN = -1
"""Stands for a parent that is not known."""


class PedigreeLoopError(ValueError):
    """A dog would be its own ancestor; ``places`` are the dogs of one loop.

    Each dog of the loop is a parent of the one before it, and the first a parent of the last.
    """

    def __init__(self, places: tuple[int, ...]) -> None:
        self.places = places
        named = ", ".join(str(place) for place in places)
        super().__init__(f"each of these dogs is an ancestor of itself (their places): {named}")


@dataclass(frozen=True, eq=False)
class Pedigree:
    """The parents of n dogs, as places in the caller's order; ``UNKNOWN`` where not known.

    ``order`` lists the places parents first, and dogs of one level as the caller had them.
    ``level`` is 0 for a dog without known parents, else one more than its parents' higher level.
    """

    sire: Places
    dam: Places
    order: Places
    level: Places
    factor: NDArray[np.float64] | None = None
    """(n,): what each dog's Mendelian variance is multiplied by; None: nothing. Only stand-ins for
    missing parents have another than 1 (see ``missing_parents``)."""

    @classmethod
    def of(
        cls, sire: ArrayLike, dam: ArrayLike, *, factor: NDArray[np.float64] | None = None
    ) -> Pedigree:
        """Return the pedigree of dogs in any order, given the place of each one's sire and dam.

        Raises PedigreeLoopError when a dog would be its own ancestor, and ValueError for a parent
        out of range or one dog as both parents of another, which only stand-ins may have.
        """
        sires, dams = _places(sire, "sire"), _places(dam, "dam")
        if factor is None:
            _check(sires, dams)
        level = _levels(sires, dams)
        return cls(sires, dams, np.argsort(level, kind="stable"), level, factor)

    def __len__(self) -> int:
        """Return the number of dogs."""
        return len(self.sire)

    @cached_property
    def stock(self) -> Stock:
        """The m dogs with offspring: through them alone genes are handed on."""
        is_parent = _parents(self.sire, self.dam)
        places = self.order[is_parent[self.order]]
        number = _numbered(places, len(self))
        return Stock(
            places=places,
            sire=number[self.sire[places]],
            dam=number[self.dam[places]],
            starts=np.concatenate([[0], np.cumsum(np.bincount(self.level[places]))]),
            factor=None if self.factor is None else self.factor[places],
        )

    @cached_property
    def stock_number(self) -> Places:
        """The number in the stock of the dog at each place, (n + 1,); m for one without offspring.

        The last, that of the unknown parent, is m too.
        """
        return _numbered(self.stock.places, len(self))


def _numbered(places: Places, n: int) -> Places:
    number = np.full(n + 1, len(places), dtype=np.int64)
    number[places] = np.arange(len(places))
    return number


def _places(given: ArrayLike, parent: str) -> Places:
    places = np.asarray(given)
    if places.ndim != 1 or (places.size and not np.issubdtype(places.dtype, np.integer)):
        raise ValueError(f"the {parent}s' places must be one row of whole numbers")
    return places.astype(np.int64)


def _check(sire: Places, dam: Places) -> None:
    n = len(sire)
    if len(dam) != n:
        raise ValueError(f"{n} sires and {len(dam)} dams: give one of each for every dog")
    for parent, places in (("sire", sire), ("dam", dam)):
        wrong = np.flatnonzero((places < UNKNOWN) | (places >= n))
        if wrong.size:
            raise ValueError(
                f"the {parent} of the dog at place {wrong[0]} is at place {places[wrong[0]]};"
                f" places go from 0 to {n - 1}, and {UNKNOWN} is an unknown parent"
            )
    both = np.flatnonzero((sire == dam) & (sire != UNKNOWN))
    if both.size:
        raise ValueError(
            f"the dog at place {sire[both[0]]} is sire and dam both of the dog at place {both[0]};"
            " correct one of the two"
        )


def _levels(sire: Places, dam: Places) -> Places:
    """Return every dog's level.

    Only parents need be gone through again and again, and only those not yet placed: the others
    follow from their parents in one step.
    """
    n = len(sire)
    level = np.full(n + 1, UNKNOWN, dtype=np.int64)
    is_parent = _parents(sire, dam)
    is_placed = ~is_parent
    is_placed[UNKNOWN] = True
    waiting = np.flatnonzero(is_parent[:n])
    while waiting.size:
        is_ready = is_placed[sire[waiting]] & is_placed[dam[waiting]]
        ready = waiting[is_ready]
        if not ready.size:
            raise PedigreeLoopError(_loop(sire, dam, is_placed, int(waiting[0])))
        level[ready] = np.maximum(level[sire[ready]], level[dam[ready]]) + 1
        is_placed[ready] = True
        waiting = waiting[~is_ready]
    return np.maximum(level[sire], level[dam]) + 1


def _parents(sire: Places, dam: Places) -> NDArray[np.bool_]:
    """Return whether the dog at each place is a parent; one more, for the unknown one, is True."""
    is_parent = np.zeros(len(sire) + 1, dtype=bool)
    is_parent[sire] = True
    is_parent[dam] = True
    is_parent[UNKNOWN] = True
    return is_parent


def _loop(sire: Places, dam: Places, is_placed: NDArray[np.bool_], start: int) -> tuple[int, ...]:
    """Return one loop above a dog that could not be placed: each such dog has such a parent."""
    path: dict[int, int] = {}
    place = start
    while place not in path:
        path[place] = len(path)
        place = int(dam[place] if is_placed[sire[place]] else sire[place])
    return tuple(list(path)[path[place] :])
