"""From a breed's inputs to the records that its breeding values are computed from.

Classes, ages and litters; and the clinics' differences by their keys again. Reading the inputs is
``breeding_inputs``' business, computing ``breeding_computation``'s.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.desk.breeding_inputs import Inputs, TraitInputs
from registry.science.breeding_values import Solution
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


def litters(inputs: Inputs, trait: TraitInputs) -> NDArray[np.int64]:
    """Each dog's litter: born of one dam on one day; coded from 0 among the dogs with a record.

    Where the dam is not known, born of one sire on one day. A dog without known parents is a litter
    of its own, since its record varies as much as another's.
    """
    dogs, n = trait.place, len(inputs.dog)
    sire, dam, born = inputs.sire[dogs], inputs.dam[dogs], inputs.born[dogs]
    by_sire = np.where(sire >= 0, n + sire, 2 * n + dogs)
    dam = np.where(dam >= 0, dam, by_sire)
    code = np.full(len(inputs.dog), NO_LITTER, dtype=np.int64)
    order = np.lexsort((born, dam))
    is_new = np.ones(len(dogs), dtype=np.bool_)
    is_new[1:] = (np.diff(dam[order]) != 0) | (np.diff(born[order]) != 0)
    code[dogs[order]] = np.cumsum(is_new) - 1
    return code


def clinic_differences(trait: TraitInputs, solution: Solution) -> list[dict[str, Any]]:
    """How far each clinic's records lie from the mean of all, other things equal, as JSON.

    ``clinic`` is its key, ``records`` their number, ``effect`` in the trait's unit from the mean
    over all records, ``se`` its standard error. Sex, year, age, litter and genes are allowed for.
    """
    keys, codes, counts = np.unique(trait.clinic, return_inverse=True, return_counts=True)
    level, effect, error = solution.columns.differences(
        "clinic", codes, solution.estimate, solution.covariance
    )
    return [
        {
            "clinic": int(keys[at]),
            "records": int(counts[at]),
            "effect": float(difference),
            "se": float(spread),
        }
        for at, difference, spread in zip(level, effect, error, strict=True)
    ]
