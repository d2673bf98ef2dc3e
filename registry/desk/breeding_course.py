"""A breed's course as a run stores it: by year of birth, and how large the breed effectively is.

All of it as JSON can hold it. The methods are ``registry.science``'s.
"""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.desk.breeding_inputs import Inputs
from registry.science.breeding_values import Solution
from registry.science.diversity import effective_size
from registry.science.missing_parents import Filled, UnknownParents
from registry.science.pedigree import Pedigree
from registry.science.trend import UNKNOWN_YEAR, by_birth_year

YEARS_OF_SIZE = 5
"""The effective size is that of the dogs born in this many latest years (our choice)."""

STEP_OF_SUM = 4
"""A year's mean record is told so coarsely that its sum is known to so many spreads of one record
(our choice)."""


def course(
    inputs: Inputs,
    pedigree: Pedigree,
    inbreeding: NDArray[np.float64],
    *,
    record: NDArray[np.float64],
    solution: Solution,
    additive: float,
    shift: NDArray[np.float64] | None,
    unknown: UnknownParents | None,
) -> dict[str, Any]:
    """The breed's course by year of birth, of its own dogs alone, as JSON can hold it.

    ``pedigree``, ``inbreeding`` and ``solution`` hold the stand-ins for missing parents too. Where
    too many of these are needed there is no line; ``unknown`` is kept to say why.
    """
    stand_ins = len(pedigree) - len(inputs.dog)
    year = np.where(inputs.is_of_breed, birth_years(inputs), UNKNOWN_YEAR)
    trend = by_birth_year(
        pedigree,
        born=np.append(year, np.full(stand_ins, UNKNOWN_YEAR)),
        record=np.append(record, np.full(stand_ins, np.nan)),
        value=solution.value,
        error_variance=solution.error_variance,
        inbreeding=inbreeding,
        additive=additive,
        shift=shift,
    )
    told = asdict(trend)
    _blur(told["years"], spread=float(np.nanstd(record)) if np.isfinite(record).any() else 0.0)
    # Every dog has a day of birth: what is left without a year are the other breeds' ancestors.
    del told["without_year"]
    if unknown is None:
        return told
    line = told["line"] if unknown.tells_line else None
    return {**told, "line": line, "unknown_parents": asdict(unknown)}


def _blur(years: list[dict[str, Any]], *, spread: float) -> None:
    """Round the means of a year's records so that two runs do not tell the one dog between them.

    Withheld records enter a run in groups, but a year of birth may hold one of a group. Rounded to
    ``STEP_OF_SUM`` spreads of one record by the number of dogs, sums of two runs differ by more or
    less than the dog's record by up to that many spreads.
    """
    for year in years:
        if year["record"] is not None and spread > 0:
            step = STEP_OF_SUM * spread / year["tested"]
            year["record"] = {
                name: round(value / step) * step for name, value in year["record"].items()
            }


def birth_years(inputs: Inputs) -> NDArray[np.int64]:
    """The year in which each dog was born."""
    since_1970 = inputs.born.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64)
    return np.asarray(since_1970 + 1970, dtype=np.int64)


def size_of(
    inputs: Inputs, whole: Filled, of_all: NDArray[np.float64], unknown: UnknownParents | None
) -> dict[str, Any] | None:
    """The effective size by the breed's latest birth years; None in a pedigree too shallow, and
    where too many parents are not known."""
    year = birth_years(inputs)
    if unknown is None or not unknown.tells_size:
        return None
    last = int(year[inputs.is_of_breed].max())
    recent = np.flatnonzero(inputs.is_of_breed & (year > last - YEARS_OF_SIZE))
    found = effective_size(whole.kin, of_all, recent, stand_ins=whole.stand_ins)
    if found is None:
        return None
    told = {name: finite(value) for name, value in asdict(found).items()}
    return {**told, "first_year": last - YEARS_OF_SIZE + 1, "last_year": last}


def finite(value: float | None) -> float | None:
    """The number, or None for one that JSON and pages cannot hold."""
    return value if value is not None and math.isfinite(value) else None
