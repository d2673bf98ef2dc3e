"""What the register says today of every dog of a breeding run: sex, birth, death, whether its own
result is released.

A run's columns are of the day it was computed; who may be mated with whom is asked live. So that a
page need not read a million rows, the answers are kept by process and brought up to date from the
ledger: each change since then names its dog, and only those dogs are read again. Reads only.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from registry.queries.breeding import STILL_IN_THE_RUN, RunTable
from registry.queries.public import Row

_KEPT = 6
_MOST_CHANGES = 2_000
_TOGETHER = 500
# Deeds that can change many dogs, where they name none.
_SWEEPING = ("dog", "pedigree", "evaluation", "trait", "distributions")


class Flags(NamedTuple):
    """Of one trait, by the dog's place: a result counts and is released, or counts and is not."""

    released: NDArray[np.bool_]
    hidden: NDArray[np.bool_]


class _Places(NamedTuple):
    """The places of the dogs whose result is released, and of those whose is not."""

    released: NDArray[np.int64]
    hidden: NDArray[np.int64]


_NOWHERE = np.zeros(0, dtype=np.int64)


class _Mark(NamedTuple):
    """How far the ledger had come; the hash tells one ledger from another."""

    seq: int
    hash: str


class DogsToday:
    """One row a dog of the run, by its place there.

    ``is_of_breed`` is false for a dog that was merged away or moved to another breed since, and for
    an ancestor of another breed. ``born`` is the day of birth, and ``is_dead`` says that a day of
    death is on record.
    """

    def __init__(self, breed_pk: int, table: RunTable) -> None:
        self._breed_pk = breed_pk
        self.table = table
        self._lock = threading.Lock()
        # First the mark: what is read after it is at least as new.
        self.mark = _head()
        n = len(table.dog)
        self.is_of_breed = np.zeros(n, dtype=np.bool_)
        self.is_male = np.zeros(n, dtype=np.bool_)
        self.is_dead = np.zeros(n, dtype=np.bool_)
        self.born = np.zeros(n, dtype="datetime64[D]")
        self._flags: dict[int, Flags] = {}
        self._take(_rows(f"{_DOGS} WHERE d.breed_id = %s", [breed_pk]))

    def flags(self, trait_pk: int) -> Flags:
        """Which dogs have a result of the trait that counts, released or not."""
        if trait_pk not in self._flags:
            n = len(self.table.dog)
            flags = Flags(np.zeros(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_))
            found = self._flagged(
                _rows(f"{_VALUES} AND v.breed_id = %s", [trait_pk, self._breed_pk])
            )
            flags.released[found.released] = True
            flags.hidden[found.hidden] = True
            self._flags[trait_pk] = flags
        return self._flags[trait_pk]

    def catch_up(self) -> bool:
        """Read again the dogs of the ledger's new entries; False when all must be read anew."""
        with self._lock:
            return self._caught_up()

    def _caught_up(self) -> bool:
        entries = _rows(_SINCE, [self.mark.seq, _MOST_CHANGES + 2])
        if self.mark.seq:
            if not entries or entries[0][1] != self.mark.hash:
                return False
            del entries[0]
        if len(entries) > _MOST_CHANGES or any(_is_sweeping(row[2], row[3]) for row in entries):
            return False
        if entries:
            self._read_again(sorted({row[3] for row in entries if row[3]}))
            self.mark = _Mark(entries[-1][0], entries[-1][1])
        return True

    def _read_again(self, public_ids: list[str]) -> None:
        for first in range(0, len(public_ids), _TOGETHER):
            some = public_ids[first : first + _TOGETHER]
            marks = ", ".join(["%s"] * len(some))
            rows = _rows(f"{_DOGS} WHERE d.public_id IN ({marks})", some)
            places = self.table.places_of([row[0] for row in rows])
            places = places[places >= 0]
            self._take([row for row in rows if row[4] == self._breed_pk])
            left = self.table.places_of([row[0] for row in rows if row[4] != self._breed_pk])
            self.is_of_breed[left[left >= 0]] = False
            for trait_pk, flags in self._flags.items():
                values = f"{_VALUES_OF_DOGS} ({marks})"
                found = self._flagged(_rows(values, [trait_pk, *some]))
                # Each from what it was straight to what it is: others may be reading.
                flags.hidden[places] = np.isin(places, found.hidden)
                flags.released[places] = np.isin(places, found.released)

    def _take(self, rows: list[Row]) -> None:
        if not rows:
            return
        dogs, is_male, born, is_dead, _breed = zip(*rows, strict=True)
        places = self.table.places_of(np.array(dogs, dtype=np.int64))
        known = places >= 0
        at = places[known]
        self.is_of_breed[at] = True
        self.is_male[at] = np.array(is_male, dtype=np.bool_)[known]
        self.born[at] = np.array(born, dtype="datetime64[D]")[known]
        self.is_dead[at] = np.array(is_dead, dtype=np.bool_)[known]

    def _flagged(self, rows: list[Row]) -> _Places:
        if not rows:
            return _Places(_NOWHERE, _NOWHERE)
        dogs, released = zip(*rows, strict=True)
        places = self.table.places_of(np.array(dogs, dtype=np.int64))
        is_released = np.array(released, dtype=np.bool_)
        is_known = places >= 0
        return _Places(places[is_known & is_released], places[is_known & ~is_released])


_kept: dict[int, DogsToday] = {}
_lock = threading.Lock()


def dogs_today(breed_pk: int, table: RunTable) -> DogsToday:
    """What is known today of the dogs of a run: one query when nothing changed since last asked."""
    with _lock:
        found = _kept.pop(table.run_pk, None)
        if found is None or found.table is not table or not found.catch_up():
            found = DogsToday(breed_pk, table)
        # The one asked for last is let go last.
        _kept[table.run_pk] = found
        while len(_kept) > _KEPT:
            del _kept[next(iter(_kept))]
    return found


_DOGS = "SELECT d.id, d.sex = 'M', d.born_on, d.died_on IS NOT NULL, d.breed_id FROM registry_dog d"
_VALUES = (
    "SELECT v.dog_id, e.consent_to_publish FROM registry_countedvalue v"  # noqa: S608 - our own SQL
    " JOIN registry_evaluation e ON e.id = v.evaluation_id"
    f" WHERE (v.counted_until IS NULL OR NOT e.consent_to_publish) AND {STILL_IN_THE_RUN}"
    " AND v.trait_id = %s"
)
_VALUES_OF_DOGS = (
    _VALUES.replace(" WHERE", " JOIN registry_dog d ON d.id = v.dog_id WHERE")
    + " AND d.public_id IN"
)
_SINCE = (
    "SELECT seq, hash, action, dog FROM registry_ledgerentry WHERE seq >= %s ORDER BY seq LIMIT %s"
)


def _head() -> _Mark:
    rows = _rows("SELECT seq, hash FROM registry_ledgerhead WHERE id = 1", [])
    return _Mark(*rows[0]) if rows else _Mark(0, "")


def _is_sweeping(action: str, dog: str) -> bool:
    """Whether the entry can be about dogs that it does not name. A merged dog's row is gone."""
    return action == "dog.merged" or (not dog and action.partition(".")[0] in _SWEEPING)


def _rows(sql: str, parameters: Iterable[Any]) -> list[Row]:
    with connection.cursor() as cursor:
        cursor.execute(sql, list(parameters))
        return list(cursor.fetchall())
