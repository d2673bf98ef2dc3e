"""The columns of a breeding run as arrays: one number of every dog, unpacked once a process.

What the numbers mean, and which of them may be shown, is ``registry.queries.breeding``'s.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from django.db.models import Q
from numpy.typing import NDArray

from registry.models import RunColumn
from registry.science.pedigree import Pedigree

_TABLES_KEPT = 6
"""How many runs' columns a process keeps at hand; a million dogs take about 60 MB."""


class RunTable:
    """The columns of a run: one number a dog, by the dog's place (ascending key). Unpacked when
    asked for first; the arrays cannot be written to."""

    def __init__(self, run_pk: int) -> None:
        self.run_pk = run_pk
        self._columns: dict[tuple[int | None, str], NDArray[Any]] = {}

    @cached_property
    def dog(self) -> NDArray[np.int64]:
        """Each dog's key, ascending."""
        return self._column(None, "dog")

    @cached_property
    def sire(self) -> NDArray[np.int32]:
        """The place of each dog's sire, -1 where unknown."""
        return self._column(None, "sire")

    @cached_property
    def dam(self) -> NDArray[np.int32]:
        """The place of each dog's dam, -1 where unknown."""
        return self._column(None, "dam")

    @cached_property
    def inbreeding(self) -> NDArray[np.float64]:
        """Each dog's inbreeding coefficient."""
        return self._column(None, "inbreeding")

    @cached_property
    def pedigree(self) -> Pedigree:
        """The pedigree that the run was computed from."""
        return Pedigree.of(self.sire.astype(np.int64), self.dam.astype(np.int64))

    def value(self, trait_pk: int) -> NDArray[np.float64]:
        """Each dog's breeding value."""
        return self._column(trait_pk, "value")

    def error_variance(self, trait_pk: int) -> NDArray[np.float64]:
        """The prediction error variance of each dog's breeding value."""
        return self._column(trait_pk, "error_variance")

    def reliability(self, trait_pk: int) -> NDArray[np.float64]:
        """The reliability of each dog's breeding value."""
        return self._column(trait_pk, "reliability")

    def record(self, trait_pk: int) -> NDArray[np.float64]:
        """Each dog's own record, not a number where it has none."""
        return self._column(trait_pk, "record")

    def place_of(self, dog_pk: int) -> int | None:
        """The dog's place, or None when it came after the run."""
        place = int(np.searchsorted(self.dog, dog_pk))
        return place if place < len(self.dog) and self.dog[place] == dog_pk else None

    def places_of(self, dog_pks: Sequence[int] | NDArray[np.int64]) -> NDArray[np.int64]:
        """The places of many dogs, -1 for those that came after the run."""
        asked = np.asarray(dog_pks, dtype=np.int64)
        if not len(self.dog):
            return np.full(asked.shape, -1, dtype=np.int64)
        place = np.minimum(np.searchsorted(self.dog, asked), len(self.dog) - 1)
        return np.where(self.dog[place] == asked, place, -1)

    def _column(self, trait_pk: int | None, name: str) -> NDArray[Any]:
        key = trait_pk, name
        if key not in self._columns:
            of_trait = Q(trait__isnull=True) if trait_pk is None else Q(trait_id=trait_pk)
            dtype, packed = RunColumn.objects.values_list("dtype", "packed").get(
                of_trait, run_id=self.run_pk, name=name
            )
            self._columns[key] = np.frombuffer(packed, dtype=dtype)
        return self._columns[key]


@lru_cache(maxsize=_TABLES_KEPT)
def run_table(run_pk: int) -> RunTable:
    """The columns of a run, shared by everybody in this process who asks."""
    return RunTable(run_pk)
