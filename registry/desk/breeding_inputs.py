"""Read what a breeding run computes from: a breed's pedigree and records, all of one instant.

Bare SQL into numpy arrays in pieces, so that a million dogs fit in memory; nothing is computed and
nothing written here. A dog's record is its worse side, as on its certificate and in the counts, so
that a forecast speaks of what a puppy will be told. The mean of both sides would say a little more
of its genes (Tikekar et al. 2018, N Z Vet J 66:319-324); in simulated breeds whose sides differ as
far as real ones the accuracy of the breeding values falls by less than 0.01. What counts for the
dog enters, of whatever age: a released result at once, a withheld one from when until when the
public counts hold it, which is in groups. Else two runs, subtracted, would tell it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from registry import clock
from registry.models import Breed, Trait
from registry.queries.public_states import sql_instant
from registry.science.distribution import first_month

Whole = NDArray[np.int64]

_CHUNK = 50_000
# SQLite takes a limited number of parameters; keys are numbers of our own and written out.
_KEYS_A_QUERY = 5_000


@dataclass(frozen=True, slots=True, eq=False)
class TraitInputs:
    """The records of one trait, one row a dog in ascending order of the dogs' places.

    ``value`` is in the trait's unit, for grades their place, best first, of ``grades`` in all;
    ``day`` counts from 1 January 1970.
    """

    pk: int
    slug: str
    is_graded: bool
    grades: int
    joint: str
    heritability_prior: float | None
    litter_share_prior: float | None
    place: Whole
    value: NDArray[np.float64]
    clinic: Whole
    day: Whole


@dataclass(frozen=True, slots=True, eq=False)
class Inputs:
    """A breed as it stood when ``ledger_seq`` was the last ledger entry; dogs in ascending order of
    their keys, the breed's own and their ancestors of whatever breed.

    ``born`` counts days from 1 January 1970. ``window`` is the first day of the breed's window and
    of the month after it, in such days.
    """

    breed: str
    ledger_seq: int
    window: tuple[int, int]
    dog: Whole
    sire: Whole
    dam: Whole
    is_male: NDArray[np.bool_]
    born: Whole
    is_of_breed: NDArray[np.bool_]
    traits: tuple[TraitInputs, ...]

    @property
    def other_breeds(self) -> list[int]:
        """The keys of the ancestors that are not of the breed."""
        keys: list[int] = self.dog[~self.is_of_breed].tolist()
        return keys

    def fingerprint(self) -> str:
        """SHA-256 of everything that a run computes from, in one fixed form.

        The ledger's number is left out: what happened elsewhere changes no result.
        """
        digest = hashlib.sha256()
        told: dict[str, Any] = {"breed": self.breed, "window": self.window, "dogs": len(self.dog)}
        told["traits"] = [
            (
                of.slug,
                of.is_graded,
                of.grades,
                of.joint,
                of.heritability_prior,
                of.litter_share_prior,
            )
            for of in self.traits
        ]
        digest.update(json.dumps(told, sort_keys=True).encode())
        columns: list[NDArray[Any]] = [
            self.dog,
            self.sire,
            self.dam,
            self.is_male,
            self.born,
            self.is_of_breed,
        ]
        for of in self.traits:
            columns += [of.place, of.clinic, of.day, of.value]
        for column in columns:
            digest.update(f"\n{len(column)}\n".encode())
            kind = "<f8" if column.dtype.kind == "f" else "<i8"
            digest.update(np.ascontiguousarray(column, dtype=kind).tobytes())
        return digest.hexdigest()


@contextmanager
def one_snapshot() -> Iterator[None]:
    """Let everything read inside be of one instant, without holding up those who write.

    A transaction that only reads: REPEATABLE READ on PostgreSQL; on SQLite a deferred one, where an
    atomic block would take the lock of writers. Inside a caller's transaction it is the caller's.
    """
    if connection.in_atomic_block:
        yield
        return
    is_postgresql = connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        cursor.execute(
            "BEGIN ISOLATION LEVEL REPEATABLE READ, READ ONLY" if is_postgresql else "BEGIN"
        )
        try:
            yield
        finally:
            cursor.execute("ROLLBACK")


def read_inputs(breed: Breed) -> Inputs:
    """Everything a run of the breed computes from. Call it in ``one_snapshot``."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT seq FROM registry_ledgerhead WHERE id = 1")
        (seq,) = cursor.fetchone()
    rows, own = _dogs(breed.pk)
    dog = rows[:, 0]
    now = clock.now()
    return Inputs(
        breed=breed.slug,
        ledger_seq=int(seq),
        window=_window(breed),
        dog=dog.copy(),
        sire=places_in(dog, rows[:, 1]),
        dam=places_in(dog, rows[:, 2]),
        is_male=rows[:, 3] == 1,
        born=rows[:, 4].copy(),
        is_of_breed=own,
        traits=tuple(
            _trait(breed.pk, trait, dog, now) for trait in Trait.objects.filter(is_counted=True)
        ),
    )


def places_in(dog: Whole, keys: Whole) -> Whole:
    """The places of the keys in the ascending column ``dog``, -1 for those that are not there."""
    if not len(dog):
        return np.full(len(keys), -1, dtype=np.int64)
    place = np.minimum(np.searchsorted(dog, keys), len(dog) - 1)
    return np.where(dog[place] == keys, place, -1)


_DOGS = (
    "SELECT id, COALESCE(sire_id, -1), COALESCE(dam_id, -1), CASE sex WHEN 'M' THEN 1 ELSE 0 END,"
    " {born} FROM registry_dog WHERE "
)
# A value that the window has left behind stays; so does one whose evaluation counts on in another
# row. Of a dog with several, as when one waits to go, the newest is last.
_RECORDS = (
    "SELECT v.dog_id, v.step, e.clinic_id, {day} FROM registry_countedvalue v"
    " JOIN registry_evaluation e ON e.id = v.evaluation_id{both}"
    " WHERE v.breed_id = {breed} AND v.trait_id = {trait}"
    " AND ((v.counted_until IS NULL AND e.consent_to_publish)"
    " OR (v.public_from <= %s AND (v.counted_until IS NULL"
    " OR v.public_until IS NULL OR v.public_until > %s"
    " OR EXISTS (SELECT 1 FROM registry_countedvalue w WHERE w.evaluation_id = v.evaluation_id"
    " AND w.trait_id = v.trait_id AND w.counted_until IS NULL))))"
    " ORDER BY v.dog_id, v.counted_from, v.id"
)
# Of one side alone nobody knows whether it is the worse one.
_BOTH_READ = (
    " JOIN registry_reading a ON a.evaluation_id = v.evaluation_id AND a.trait_id = v.trait_id"
    " AND a.side = 'left' JOIN registry_reading b ON b.evaluation_id = v.evaluation_id"
    " AND b.trait_id = v.trait_id AND b.side = 'right'"
)


def _dogs(breed_pk: int) -> tuple[Whole, NDArray[np.bool_]]:
    """Key, sire, dam, is male, born of the breed's dogs and all their ancestors, by key; and which
    are the breed's."""
    columns = _DOGS.format(born=_day_number("born_on"))
    parts = [_table(f"{columns} breed_id = {int(breed_pk)}", 5)]
    own = len(parts[0])
    while True:
        known = np.concatenate([part[:, 0] for part in parts])
        parents = np.unique(parts[-1][:, 1:3])
        missing = np.setdiff1d(parents[parents >= 0], known, assume_unique=False)
        if not len(missing):
            break
        found = [
            _table(f"{columns} id IN ({', '.join(map(str, some.tolist()))})", 5)
            for some in np.split(missing, range(_KEYS_A_QUERY, len(missing), _KEYS_A_QUERY))
        ]
        parts.append(np.concatenate(found))
    rows = np.concatenate(parts)
    order = np.argsort(rows[:, 0])
    return rows[order], order < own


def _trait(breed_pk: int, trait: Trait, dog: Whole, now: datetime) -> TraitInputs:
    sql = _RECORDS.format(
        both=_BOTH_READ if trait.is_per_side else "",
        day=_day_number("e.examined_on"),
        breed=int(breed_pk),
        trait=int(trait.pk),
    )
    rows = _table(sql, 4, [sql_instant(now)] * 2)
    is_newest = np.append(rows[1:, 0] != rows[:-1, 0], True)
    # One that waits to go may be of a dog that has left the breed.
    rows = rows[is_newest[: len(rows)] & (places_in(dog, rows[:, 0]) >= 0)]
    resolution = 1.0 if trait.is_graded else float(trait.resolution)
    priors = trait.heritability_prior, trait.litter_share_prior
    return TraitInputs(
        pk=trait.pk,
        slug=trait.slug,
        is_graded=trait.is_graded,
        grades=len(trait.grades),
        joint=trait.joint,
        heritability_prior=None if priors[0] is None else float(priors[0]),
        litter_share_prior=None if priors[1] is None else float(priors[1]),
        place=places_in(dog, rows[:, 0]),
        value=(rows[:, 1] * resolution).astype(np.float64),
        clinic=rows[:, 2].copy(),
        day=rows[:, 3].copy(),
    )


def _table(sql: str, width: int, parameters: Sequence[Any] = ()) -> Whole:
    """Rows of whole numbers, read in pieces: no Python object outlives its piece, and PostgreSQL
    keeps what has not been fetched."""
    parts = [np.empty((0, width), dtype=np.int64)]
    with connection.chunked_cursor() as cursor:
        cursor.execute(sql, parameters)
        while rows := cursor.fetchmany(_CHUNK):
            parts.append(np.array(rows, dtype=np.int64))
    return np.concatenate(parts)


def _day_number(column: str) -> str:
    """Days from 1 January 1970, made by the database: a million Python dates would cost more than
    the rest."""
    if connection.vendor == "postgresql":
        return f"{column} - DATE '1970-01-01'"
    return f"CAST(julianday({column}) - 2440587.5 AS INTEGER)"


def _window(breed: Breed) -> tuple[int, int]:
    last = clock.today().replace(day=1)
    after = date(last.year + last.month // 12, last.month % 12 + 1, 1)
    start = first_month(last, breed.window_months)
    return (start - date(1970, 1, 1)).days, (after - date(1970, 1, 1)).days
