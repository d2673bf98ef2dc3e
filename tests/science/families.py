"""Random pedigrees, and the tabular method worked out by hand in plain Python beside them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from registry.science.pedigree import Pedigree


class Family(NamedTuple):
    """Dogs by place, -1 for an unknown parent; ``births`` are the places, oldest dog first."""

    sire: list[int]
    dam: list[int]
    births: list[int]

    @property
    def pedigree(self) -> Pedigree:
        return Pedigree.of(self.sire, self.dam)

    def moved(self, places: list[int]) -> Family:
        """The same dogs: the one at place i comes to ``places[i]``."""
        sire, dam = [-1] * len(places), [-1] * len(places)
        for old, new in enumerate(places):
            sire[new] = places[self.sire[old]] if self.sire[old] >= 0 else -1
            dam[new] = places[self.dam[old]] if self.dam[old] >= 0 else -1
        return Family(sire, dam, [places[old] for old in self.births])

    def relationship(self) -> NDArray[np.float64]:
        """The relationship matrix, dog by dog in the order of birth."""
        n = len(self.sire)
        table = np.zeros((n, n))
        older: list[int] = []
        for dog in self.births:
            parents = [parent for parent in (self.sire[dog], self.dam[dog]) if parent >= 0]
            for other in older:
                shared = sum(table[parent, other] for parent in parents) / 2
                table[dog, other] = table[other, dog] = shared
            table[dog, dog] = 1.0
            if len(parents) == 2:
                table[dog, dog] += table[parents[0], parents[1]] / 2
            older.append(dog)
        return table


@st.composite
def families(draw: st.DrawFn, most: int = 24) -> Family:
    """Up to so many dogs; any older dog of the right sex may be a parent, or nobody known."""
    n = draw(st.integers(1, most))
    is_male = draw(st.lists(st.booleans(), min_size=n, max_size=n))
    sire, dam = [-1] * n, [-1] * n
    for dog in range(n):
        sires = [-1, *(older for older in range(dog) if is_male[older])]
        dams = [-1, *(older for older in range(dog) if not is_male[older])]
        # Late ones among the choices, so that lines become deep and close.
        sire[dog] = draw(st.sampled_from(sires[::-1]))
        dam[dog] = draw(st.sampled_from(dams[::-1]))
    born_in_order = Family(sire, dam, list(range(n)))
    return born_in_order.moved(draw(st.permutations(range(n))))
