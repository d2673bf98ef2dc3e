"""From a breed's inputs to the records that its breeding values are computed from.

Classes, ages and litters, and which traits are tried together. Reading the inputs is
``breeding_inputs``' business, computing ``breeding_computation``'s.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from registry.desk.breeding_inputs import Inputs, TraitInputs
from registry.science.covariances import FEWEST_BOTH
from registry.science.mixed_model import NO_LITTER, Records

_DAYS_A_YEAR = 365.25


def records_of(inputs: Inputs, trait: TraitInputs, litter: NDArray[np.int64]) -> Records:
    """The trait's records as the model takes them: sex, clinic and year as classes, age in years.

    ``litter`` holds each dog's code; the years' codes ascend.
    """
    year = trait.day.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64)
    return Records(
        dog=trait.place,
        value=trait.value,
        fixed={
            "sex": inputs.is_male[trait.place].astype(np.int64),
            "clinic": np.unique(trait.clinic, return_inverse=True)[1],
            "year": np.unique(year, return_inverse=True)[1],
        },
        age=(trait.day - inputs.born[trait.place]) / _DAYS_A_YEAR,
        litter=litter[trait.place],
    )


def litters(inputs: Inputs, group: Sequence[TraitInputs]) -> NDArray[np.int64]:
    """Each dog's litter: born of one dam on one day; coded from 0 among the dogs with a record.

    A dog whose dam is not known is a litter of its own, since its record varies as much as
    another's.
    """
    dogs = np.unique(np.concatenate([trait.place for trait in group]))
    dam, born = inputs.dam[dogs], inputs.born[dogs]
    dam = np.where(dam >= 0, dam, len(inputs.dog) + dogs)
    code = np.full(len(inputs.dog), NO_LITTER, dtype=np.int64)
    order = np.lexsort((born, dam))
    is_new = np.ones(len(dogs), dtype=np.bool_)
    is_new[1:] = (np.diff(dam[order]) != 0) | (np.diff(born[order]) != 0)
    code[dogs[order]] = np.cumsum(is_new) - 1
    return code


def groups(inputs: Inputs) -> list[tuple[TraitInputs, ...]]:
    """The traits that are tried together: the two measured ones of a joint that most dogs have
    both of. Every other trait by itself."""
    measured = [trait for trait in inputs.traits if not trait.is_graded]
    pairs = sorted(
        (
            (-both_of(one, other), at, one, other)
            for at, (one, other) in enumerate(combinations(measured, 2))
            if one.joint == other.joint and both_of(one, other) >= FEWEST_BOTH
        ),
        key=itemgetter(0, 1),
    )
    found: list[tuple[TraitInputs, ...]] = []
    taken: set[int] = set()
    for _dogs, _at, one, other in pairs:
        if not taken & {one.pk, other.pk}:
            found.append((one, other))
            taken |= {one.pk, other.pk}
    return found + [(trait,) for trait in inputs.traits if trait.pk not in taken]


def both_of(one: TraitInputs, other: TraitInputs) -> int:
    """How many dogs have a record of both."""
    return len(np.intersect1d(one.place, other.place, assume_unique=True))
