"""Build the breed's counts anew from the evaluations, or only compare and name the first
difference.

The slow, plain way to the numbers that every approval keeps up to date by a cell at a time. Rows
are read into pandas, counted by ``registry.science.counting``, and written back in one transaction.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from django.db import connection, transaction

from registry import clock
from registry.desk.actor import Actor
from registry.desk.cells import current_month
from registry.desk.public_states import settle_all
from registry.ledger import Change, append
from registry.models import Breed, StoredHistogram, Trait
from registry.queries.public_faults import public_faults
from registry.science.counting import (
    CELL,
    Difference,
    cells_from_values,
    counted_values,
    first_difference,
    histograms,
)

_CHUNK = 50_000
READING_COLUMNS = ["dog", "evaluation", "breed", "trait", "sex", "examined", "accepted", "step"]
# Days as whole numbers made by the database: a Python date for each of a million rows costs more
# than all the counting.
_READINGS = """
    SELECT e.dog_id, e.id, d.breed_id, r.trait_id, CASE d.sex WHEN 'F' THEN 0 ELSE 1 END,
           {day}, o.place, r.step
    FROM registry_reading r
    JOIN registry_evaluation e ON e.id = r.evaluation_id
    JOIN registry_dog d ON d.id = e.dog_id
    JOIN registry_trait t ON t.id = r.trait_id
    JOIN (SELECT id, ROW_NUMBER() OVER (ORDER BY accepted_at, id) AS place
          FROM registry_evaluation WHERE state IN ('accepted', 'replaced')) o ON o.id = e.id
    WHERE t.is_counted
      AND NOT EXISTS (SELECT 1 FROM registry_evaluation c WHERE c.corrects_id = e.id)
"""
_CELLS = """
    SELECT breed_id, trait_id, CASE sex WHEN 'F' THEN 0 ELSE 1 END, {month}, step, dogs
    FROM registry_distributioncell
"""
_COUNTED = """
    SELECT breed_id, trait_id, CASE sex WHEN 'F' THEN 0 ELSE 1 END, {month}, step, COUNT(*)
    FROM registry_countedvalue WHERE counted_until IS NULL GROUP BY 1, 2, 3, 4, 5
"""
_INTO_CELLS = "registry_distributioncell (breed_id, trait_id, sex, month, step, dogs)"
_COPY_CELLS = f"COPY {_INTO_CELLS} FROM STDIN"
_INSERT_CELLS = f"INSERT INTO {_INTO_CELLS} VALUES (%s, %s, %s, %s, %s, %s)"  # noqa: S608
_SEXES = ("F", "M")


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What a rebuild or a comparison saw. A difference is None where both agree exactly."""

    readings: int
    cells: int
    cell_difference: Difference | None
    counted_difference: Difference | None
    public_faults: tuple[str, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether cells and counted values equal what the evaluations say, and what the public sees
        of them is sound."""
        return (
            self.cell_difference is None
            and self.counted_difference is None
            and not self.public_faults
        )


def compare_distributions() -> Rebuilt:
    """Count everything anew and compare with the cells and the counted values; writes nothing."""
    return _survey()[0]


def rebuild_distributions(*, by: Actor) -> Rebuilt:
    """Write cells and histograms anew from the evaluations; says how the old cells differed, if
    so."""
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                # No approval may slip in between the reading and the writing.
                cursor.execute("LOCK TABLE registry_storedhistogram IN EXCLUSIVE MODE")
        seen, computed = _survey()
        if seen.cell_difference is not None:
            _write_cells(computed)
        _write_histograms(computed)
        settle_all(at=clock.now())
        append(
            by=by,
            action="distributions.rebuilt",
            subject="distributions:all",
            changes={
                "cells": Change(None, len(computed)),
                "agreed": Change(None, seen.agrees),
            },
        )
    return seen


def _survey() -> tuple[Rebuilt, pd.DataFrame]:
    columns = [*CELL, "dogs"]
    readings = _table(readings_sql(), READING_COLUMNS)
    lower = [trait.pk for trait in Trait.objects.all() if trait.better_steps == "lower"]
    computed = cells_from_values(counted_values(readings, lower))
    seen = Rebuilt(
        readings=len(readings),
        cells=len(computed),
        cell_difference=first_difference(_table(_dated(_CELLS), columns), computed),
        counted_difference=first_difference(_table(_dated(_COUNTED), columns), computed),
        public_faults=tuple(public_faults(now=clock.now())),
    )
    return seen, computed


def readings_sql() -> str:
    """The query of every reading that may count, one row each, as ``READING_COLUMNS`` name it."""
    return _dated(_READINGS)


def _dated(sql: str) -> str:
    """The query with days and months as whole numbers, in the database's own words."""
    if connection.vendor == "postgresql":
        day = "CAST(to_char(e.examined_on, 'YYYYMMDD') AS integer)"
        month = "CAST(to_char(month, 'YYYYMM') AS integer)"
    else:
        day = "CAST(replace(e.examined_on, '-', '') AS integer)"
        month = "CAST(substr(replace(month, '-', ''), 1, 6) AS integer)"
    return sql.format(day=day, month=month)


def _table(sql: str, columns: list[str]) -> pd.DataFrame:
    """Rows of whole numbers as a table, read in pieces so that no Python object outlives its
    piece."""
    with connection.cursor() as cursor:
        cursor.execute(sql)
        parts = [np.empty((0, len(columns)), dtype=np.int64)]
        while rows := cursor.fetchmany(_CHUNK):
            parts.append(np.array(rows, dtype=np.int64))
    return pd.DataFrame(np.concatenate(parts), columns=columns)


def _write_cells(cells: pd.DataFrame) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM registry_distributioncell")
        rows = _cell_rows(cells)
        if connection.vendor == "postgresql":
            with cursor.copy(_COPY_CELLS) as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            cursor.executemany(_INSERT_CELLS, list(rows))


def _cell_rows(cells: pd.DataFrame) -> Iterator[tuple[Any, ...]]:
    months = {int(month): _month(int(month)) for month in cells["month"].unique()}
    columns = (cells[name].tolist() for name in (*CELL, "dogs"))
    for breed, trait, sex, month, step, dogs in zip(*columns, strict=True):
        yield breed, trait, _SEXES[sex], months[month], step, dogs


def _write_histograms(cells: pd.DataFrame) -> None:
    """Every histogram of today's window; those without a dog left are removed."""
    now = clock.now()
    last_month = current_month(now)
    rows: list[StoredHistogram] = []
    for breed in Breed.objects.all():
        own = cells[cells["breed"] == breed.pk]
        for (breed_id, trait_id, sex), histogram in histograms(
            own, last_month, breed.window_months
        ).items():
            rows.append(
                StoredHistogram(
                    breed_id=breed_id,
                    trait_id=trait_id,
                    sex=_SEXES[int(sex)],
                    last_month=last_month,
                    window_months=breed.window_months,
                    packed=histogram.pack(),
                    dogs=histogram.n,
                    changed_at=now,
                )
            )
    StoredHistogram.objects.all().delete()
    StoredHistogram.objects.bulk_create(rows, batch_size=500)


def _month(yyyymm: int) -> str:
    return f"{yyyymm // 100:04d}-{yyyymm % 100:02d}-01"
