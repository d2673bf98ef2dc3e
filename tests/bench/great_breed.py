"""One breed with a great pedigree for the measurement of a whole breeding run, written straight to
the tables: a made-up pedigree of a million dogs, six of ten with the hip laxity of both hips.

The values have a truth behind them: genes handed on through the pedigree, the litter, the clinic,
the rest. Run it in a process of its own, so that its memory is not the measurement's.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection, models, transaction
from numpy.typing import NDArray

from registry.models import Breed, Clinic, CountedValue, Dog, Evaluation, Reading, Trait
from tests.bench.club import copy_rows
from tests.bench.pedigrees import MadeUp, made_up
from tests.bench.rounds import QUICK
from tests.factories import Club, make_breed, make_club

DOGS = 3_000 if QUICK else 1_000_000
NAME = "Great Fell Hound"
_CLINICS = 20 if QUICK else 300
_RECORDED = 0.6
_ADDITIVE, _LITTER, _RESIDUAL = 0.0045, 0.0010, 0.0045
_FIRST = date(2010, 1, 1)
"""The first cohort's year; the last of fifteen is examined before today."""

Whole = NDArray[np.int64]


def fill() -> None:
    """Make the tables, the cast, the breed and all its rows."""
    call_command("migrate", interactive=False, verbosity=0)
    club = make_club()
    breed = make_breed(NAME)
    drawn = made_up(DOGS)
    random = np.random.default_rng(DOGS)
    born = _born(drawn, random)
    tested = np.flatnonzero(random.random(DOGS) < _RECORDED)
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            # A scratch file that nobody needs after a power cut.
            cursor.execute("PRAGMA synchronous=OFF")
            cursor.execute("PRAGMA journal_mode=OFF")
            cursor.execute("PRAGMA cache_size=-1000000")
    with transaction.atomic():
        _dogs(breed, drawn, born)
        _results(club, breed, drawn, born, tested, random)
        tables: list[type[models.Model]] = [Dog, Evaluation, Reading, CountedValue, Clinic]
        with connection.cursor() as cursor:
            for sql in connection.ops.sequence_reset_sql(no_style(), tables):
                cursor.execute(sql)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA journal_mode=WAL")


def _born(drawn: MadeUp, random: np.random.Generator) -> Whole:
    """Days since the first cohort's new year; the same for a litter."""
    day = random.integers(0, 365, drawn.litter.max() + 1)
    own = np.where(drawn.litter >= 0, day[drawn.litter], 0)
    return np.asarray(365 * drawn.cohort + own, dtype=np.int64)


def _texts(days: int) -> list[str]:
    return [(_FIRST + timedelta(days=day)).isoformat() for day in range(days)]


def _dogs(breed: Breed, drawn: MadeUp, born: Whole) -> None:
    days = _texts(int(born.max()) + 1)
    columns = [part.tolist() for part in (drawn.sire, drawn.dam, drawn.is_male, born)]
    rows = (
        (
            place + 1,
            f"g{place:015d}",
            breed.pk,
            f"Hound {place}",
            f"hound {place}",
            "M" if is_male else "F",
            days[day],
            sire + 1 if sire >= 0 else None,
            dam + 1 if dam >= 0 else None,
            *("", "", "", True, "2024-01-01 00:00:00", 1),
        )
        for place, (sire, dam, is_male, day) in enumerate(zip(*columns, strict=True))
    )
    names = (
        "id public_id breed_id name search_name sex born_on sire_id dam_id"
        " call_name colour studbook_number is_confirmed created_at version"
    )
    copy_rows("registry_dog", names.split(), rows)


def _results(
    club: Club,
    breed: Breed,
    drawn: MadeUp,
    born: Whole,
    tested: Whole,
    random: np.random.Generator,
) -> None:
    clinics = [
        Clinic.objects.create(name=f"Fell Clinic {number}", town="Tarnby")
        for number in range(_CLINICS)
    ]
    clinic = random.integers(0, _CLINICS, len(tested))
    value = 0.5 + _truth(drawn, random)[tested]
    value += random.normal(0, 0.03, _CLINICS)[clinic]
    value += random.normal(0, _RESIDUAL**0.5, len(tested))
    half = random.normal(0, 3, len(tested))
    sides = np.column_stack([value * 100 + half, value * 100 - half]).round()
    steps = np.clip(sides, 5, 120).astype(np.int64)
    day = born[tested] + 150 + random.integers(0, 200, len(tested))
    days = _texts(int(day.max()) + 1)
    clinic_pk = np.array([each.pk for each in clinics])[clinic].tolist()
    dogs, on = (tested + 1).tolist(), [days[each] for each in day.tolist()]
    _evaluations(club, dogs, clinic_pk, on)
    trait = Trait.objects.get(slug="hip-laxity")
    readings = (
        (2 * place + side, place, trait.pk, ("left", "right")[side], step)
        for place, pair in enumerate(steps.tolist())
        for side, step in enumerate(pair)
    )
    copy_rows("registry_reading", ["id", "evaluation_id", "trait_id", "side", "step"], readings)
    sex = ["FM"[is_male] for is_male in drawn.is_male[tested].tolist()]
    counted = (
        (place, breed.pk, trait.pk, *each, place, f"{when[:7]}-01", worst, f"{when} 10:00:00")
        for place, (each, when, worst) in enumerate(
            zip(zip(sex, dogs, strict=True), on, steps.max(axis=1).tolist(), strict=True)
        )
    )
    names = "id breed_id trait_id sex dog_id evaluation_id month step counted_from"
    copy_rows("registry_countedvalue", names.split(), counted)


def _evaluations(club: Club, dogs: list[int], clinics: list[int], on: list[str]) -> None:
    rows = (
        (
            *(place, f"g{place:015d}", f"G{place:09d}", "accepted", dog, clinic, when),
            *("Dr. Vera Oakhollow", "{}", True, club.nurse.user.pk),
            *(f"{when} 09:00:00", f"{when} 10:00:00", "", "[]", 1),
        )
        for place, (dog, clinic, when) in enumerate(zip(dogs, clinics, on, strict=True))
    )
    names = (
        "id public_id reference state dog_id clinic_id examined_on examiner conditions"
        " consent_to_publish submitted_by_id submitted_at accepted_at reason fields_to_fix version"
    )
    copy_rows("registry_evaluation", names.split(), rows)


def _truth(drawn: MadeUp, random: np.random.Generator) -> NDArray[np.float64]:
    """Each dog's genes, half of each parent's and a part of its own, and its litter."""
    genes = random.normal(0, _ADDITIVE**0.5, DOGS)
    for cohort in range(1, int(drawn.cohort.max()) + 1):
        here = np.flatnonzero(drawn.cohort == cohort)
        genes[here] *= 0.5**0.5
        genes[here] += 0.5 * (genes[drawn.sire[here]] + genes[drawn.dam[here]])
    litter = random.normal(0, _LITTER**0.5, drawn.litter.max() + 2)
    return np.asarray(genes + litter[drawn.litter], dtype=np.float64)
