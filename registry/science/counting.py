"""Counting the breeds anew: from every reading of every accepted evaluation to cells of counts.

This is the slow, plain way to the same numbers that each approval keeps up to date by a cell at a
time; the two must agree exactly. Tables (pandas) in, tables out; vectorised, since a large registry
has a million rows. Reading the tables and writing the cells are the caller's.

Columns, where they occur:

- ``dog``, ``evaluation``, ``breed``, ``trait``: whole numbers (primary keys);
- ``sex``: text or whole number;
- ``examined``: whole number YYYYMMDD, and ``month``: whole number YYYYMM: both keep the order of
  the days and can be made by either database without a Python object for each row;
- ``accepted``: whole number that rises with the order of acceptance;
- ``step``: whole steps of the trait; ``dogs``: a count.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from registry.science.distribution import Histogram, first_month

CELL = ["breed", "trait", "sex", "month", "step"]
_BEFORE_ALL = np.iinfo(np.int64).min


@dataclass(frozen=True)
class Difference:
    """The first cell in which two tables of counts differ; a missing cell counts 0 dogs."""

    breed: int
    trait: int
    sex: str | int
    month: int
    step: int
    stored: int
    computed: int


def latest_per_dog(readings: pd.DataFrame) -> NDArray[np.bool_]:
    """Return which rows belong to the evaluation that counts for their dog and trait.

    Needs dog, trait, examined, accepted. That is the one examined last; of several on that day the
    one accepted last. All rows of it (both sides) are marked.
    """
    dog_trait, groups = _groups(readings, ["dog", "trait"])
    examined = readings["examined"].to_numpy(np.int64)
    accepted = readings["accepted"].to_numpy(np.int64)
    last_day = _highest(dog_trait, groups, examined)
    on_last_day = examined == last_day[dog_trait]
    then_accepted = np.where(on_last_day, accepted, _BEFORE_ALL)
    last_accepted = _highest(dog_trait, groups, then_accepted)
    return np.asarray(on_last_day & (accepted == last_accepted[dog_trait]), dtype=np.bool_)


def counted_values(readings: pd.DataFrame, lower_is_better: Collection[int]) -> pd.DataFrame:
    """Return one row for each dog and trait: the value that counts.

    Needs dog, evaluation, breed, trait, sex, examined, accepted, step: one row for each side (or
    one for the whole dog) of every accepted evaluation that carries the trait. ``lower_is_better``
    names the traits whose lower end is better; the worse side speaks for the dog. Gives dog,
    evaluation, breed, trait, sex, month, step.
    """
    latest = readings[latest_per_dog(readings)]
    trait = latest["trait"].to_numpy()
    sign = np.where(np.isin(trait, list(lower_is_better)), 1, -1)
    badness = latest["step"].to_numpy(np.int64) * sign
    dog_trait, groups = _groups(latest, ["dog", "trait"])
    worst = _highest(dog_trait, groups, badness)
    speaks = np.flatnonzero(badness == worst[dog_trait])
    # Two equal sides both speak; one row of them is enough.
    speaker = np.zeros(groups, dtype=np.int64)
    speaker[dog_trait[speaks]] = speaks
    values = latest.iloc[speaker]
    values = values.assign(month=values["examined"].to_numpy(np.int64) // 100)
    kept: pd.DataFrame = values[["dog", "evaluation", "breed", "trait", "sex", "month", "step"]]
    return kept.reset_index(drop=True)


def cells_from_values(values: pd.DataFrame) -> pd.DataFrame:
    """Return the counts: one row of breed, trait, sex, month, step, dogs, in that order.

    Needs breed, trait, sex, month, step: one row a dog and trait, as ``counted_values`` gives.
    """
    cells, dogs = np.unique(_codes(values, CELL), return_counts=True, return_index=True)[1:]
    counted: pd.DataFrame = values[CELL].iloc[cells]
    return counted.assign(dogs=dogs).reset_index(drop=True)


def histograms(
    cells: pd.DataFrame, last_month: date, months: int
) -> dict[tuple[int, int, str | int], Histogram]:
    """Return the histogram of each (breed, trait, sex) over the window that ends with last_month.

    Needs breed, trait, sex, month, step, dogs. Those without a dog in the window are left out.
    """
    start = first_month(last_month, months)
    month = cells["month"].to_numpy(np.int64)
    inside = (month >= _yyyymm(start)) & (month <= _yyyymm(last_month))
    found: dict[tuple[int, int, str | int], Histogram] = {}
    for key, part in cells[inside].groupby(["breed", "trait", "sex"], sort=True):
        breed, trait, sex = cast("tuple[int, int, str | int]", key)
        steps = part["step"].to_numpy(np.int64)
        first = int(steps.min())
        counts = np.zeros(int(steps.max()) - first + 1, dtype=np.int64)
        np.add.at(counts, steps - first, part["dogs"].to_numpy(np.int64))
        found[breed, trait, sex] = Histogram(first, counts)
    return found


def first_difference(stored: pd.DataFrame, computed: pd.DataFrame) -> Difference | None:
    """Return the first cell, in the order of ``CELL``, whose counts differ, or None."""
    both = stored[[*CELL, "dogs"]].merge(
        computed[[*CELL, "dogs"]], on=CELL, how="outer", suffixes=("_stored", "_computed")
    )
    both = both.fillna({"dogs_stored": 0, "dogs_computed": 0})
    differing = both[both["dogs_stored"] != both["dogs_computed"]].sort_values(CELL)
    if differing.empty:
        return None
    breed, trait, sex, month, step, was, now = next(differing.itertuples(index=False))
    return Difference(int(breed), int(trait), sex, int(month), int(step), int(was), int(now))


def _codes(table: pd.DataFrame, columns: list[str]) -> NDArray[np.int64]:
    """Return one whole number a row that names the row's values and keeps their sorting order."""
    codes = np.zeros(len(table), dtype=np.int64)
    size = 1
    for column in columns:
        place, kinds = _places(table[column])
        if size > np.iinfo(np.int64).max // max(kinds, 1):
            raise ValueError("too many different values to count in one go")
        size *= max(kinds, 1)
        codes = codes * kinds + place
    return codes


def _places(column: pd.Series) -> tuple[NDArray[np.int64], int]:
    """Return each value's place on a scale of its column, and the length of the scale."""
    if pd.api.types.is_integer_dtype(column.dtype) and len(column):
        numbers = column.to_numpy(np.int64)
        low, high = int(numbers.min()), int(numbers.max())
        return numbers - low, high - low + 1
    place, kinds = pd.factorize(column, sort=True)
    return place.astype(np.int64), len(kinds)


def _groups(table: pd.DataFrame, columns: list[str]) -> tuple[NDArray[np.int64], int]:
    """Return each row's group, numbered from 0 without gaps, and how many groups there are."""
    group, kinds = pd.factorize(_codes(table, columns))
    return group.astype(np.int64, copy=False), len(kinds)


def _highest(group: NDArray[np.int64], groups: int, values: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the highest value of each group."""
    highest = np.full(groups, _BEFORE_ALL, dtype=np.int64)
    np.maximum.at(highest, group, values)
    return highest


def _yyyymm(month: date) -> int:
    return month.year * 100 + month.month
