"""A large invented club for the measurements: rows by the hundred thousand, written straight to
the tables.

As many dogs as evaluations, in litters of five with parents of their breed; four of five dogs
tested, a quarter of these twice. Forty breeds, the largest with 17 tested dogs for every 100
evaluations (170,000 of a million) and the smallest with 400. Every evaluation carries the hip
hip laxity of both sides. Only the measurements may write so: everybody else goes through the
desk.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Any, cast

import numpy as np
from django.core.management.color import no_style
from django.db import connection, models, transaction
from django.utils import timezone
from numpy.typing import NDArray

from registry.desk.distributions import rebuild_distributions
from registry.desk.naming import search_name
from registry.ledger import Actor
from registry.models import (
    Breed,
    Certificate,
    CountedValue,
    Dog,
    Evaluation,
    Reading,
    Trait,
)
from tests.bench.rounds import QUICK
from tests.factories import Club, make_breed, make_club

EVALUATIONS = 5_000 if QUICK else 1_000_000
LARGEST, SMALLEST = "Tarn Spaniel", "Harbour Spitz"
_SMALL = 100 if QUICK else 400
_BREEDS = 40
_SEED = 20261125
# Days of birth, so spread that even the earliest examination lies in today's ten years and the
# latest second one in the past.
_BIRTHS = 2_000
_DAYS = _BIRTHS + 1_600

Numbers = NDArray[np.int64]


def fill() -> Club:
    """Make the cast, the breeds, and all rows; then count them. Returns the cast."""
    club = make_club()
    names = [LARGEST, *(f"Fell Pointer {place}" for place in range(2, _BREEDS)), SMALLEST]
    breeds = [make_breed(name) for name in names]
    random = np.random.default_rng(_SEED)
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            # A scratch file that nobody needs after a power cut.
            cursor.execute("PRAGMA synchronous=OFF")
            cursor.execute("PRAGMA journal_mode=OFF")
            cursor.execute("PRAGMA cache_size=-1000000")
    with transaction.atomic():
        _write(club, breeds, random)
    rebuild_distributions(by=Actor.system())
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA journal_mode=WAL")
    return club


def breed_named(name: str) -> Breed:
    """One of the club's breeds."""
    return Breed.objects.get(name=name)


def _write(club: Club, breeds: list[Breed], random: np.random.Generator) -> None:
    trait = Trait.objects.get(slug="hip-laxity")
    tested_of_breed = _tested_by_breed()
    breed_of_tested = np.repeat([breed.pk for breed in breeds], tested_of_breed)
    tested = len(breed_of_tested)
    # The untested dogs come last and are spread over the breeds like the tested ones.
    untested = breed_of_tested[random.permutation(tested)[: EVALUATIONS - tested]]
    breed_of_dog = np.concatenate([breed_of_tested, untested])
    sex_of_dog = random.integers(0, 2, len(breed_of_dog))
    # Within its breed a dog with a higher number is younger.
    born = np.concatenate([(np.arange(n) * _BIRTHS) // n for n in tested_of_breed])
    again = random.permutation(tested)[: EVALUATIONS - tested]
    dog_of = np.concatenate([np.arange(tested), again])
    day = born + 150 + random.integers(0, 600, tested)
    day = np.concatenate([day, day[again] + 200 + random.integers(0, 600, len(again))])
    steps = np.clip(random.normal(45, 14, (EVALUATIONS, 2)).round(), 10, 110).astype(np.int64)
    is_last = np.ones(EVALUATIONS, dtype=np.bool_)
    is_last[again] = False

    _dogs(breed_of_dog, sex_of_dog, np.concatenate([born, born[: len(untested)]]), random)
    _evaluations(club, dog_of, day, is_last)
    _readings(trait.pk, steps)
    _certificates(day)
    last = np.flatnonzero(is_last)
    _counted(
        trait.pk,
        last,
        breed_of_dog[dog_of[last]],
        sex_of_dog[dog_of[last]],
        dog_of[last],
        day[last],
        steps[last].max(axis=1),
    )
    tables: list[type[models.Model]] = [Dog, Evaluation, Reading, Certificate, CountedValue]
    with connection.cursor() as cursor:
        for sql in connection.ops.sequence_reset_sql(no_style(), tables):
            cursor.execute(sql)


def _tested_by_breed() -> list[int]:
    """Tested dogs of each breed: the largest, then ever smaller ones, then the smallest."""
    dogs, largest = EVALUATIONS * 4 // 5, EVALUATIONS * 17 // 100
    weights = 1 / np.arange(2, _BREEDS)
    middle = ((dogs - largest - _SMALL) * weights / weights.sum()).astype(int).tolist()
    middle[0] += dogs - largest - _SMALL - sum(middle)
    return [largest, *middle, _SMALL]


def _dogs(breed: Numbers, sex: Numbers, born: Numbers, random: np.random.Generator) -> None:
    days, names = _texts_of_days(), _names(len(breed), random)
    sires, dams = _parents(breed, random)
    columns = [part.tolist() for part in (breed, sex, born, sires, dams)]
    rows = (
        (
            place,
            f"b{place:015d}",
            breed_id,
            names[place],
            "",
            "FM"[sex_id],
            days[born_on],
            "brown",
            f"27608{place:010d}",
            f"SB {place}",
            sire if sire >= 0 else None,
            dam if dam >= 0 else None,
            True,
            search_name(names[place]),
            "2024-01-01 00:00:00",
            1,
        )
        for place, (breed_id, sex_id, born_on, sire, dam) in enumerate(zip(*columns, strict=True))
    )
    written = (
        "id public_id breed_id name call_name sex born_on colour chip studbook_number sire_id"
        " dam_id is_confirmed search_name created_at version"
    )
    copy_rows("registry_dog", written.split(), rows)
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute(
                "INSERT INTO registry_dogname (rowid, name)"
                " SELECT id, search_name FROM registry_dog"
            )


def _parents(breed: Numbers, random: np.random.Generator) -> tuple[Numbers, Numbers]:
    """Sire and dam of each dog, the same for five in a row; -1 for founders and odd ones.

    Rows of one breed lie together, and a parent lies before its litter, at most 4,000 dogs.
    """
    place = np.arange(len(breed))
    litter = place // 5
    back = random.integers(10, min(4_000, len(breed)), (2, litter[-1] + 1))
    found = []
    for each in back:
        parent = litter * 5 - each[litter]
        is_of_breed = (parent >= 0) & (breed[np.maximum(parent, 0)] == breed)
        found.append(np.where(is_of_breed, parent, -1))
    return found[0], found[1]


def _names(how_many: int, random: np.random.Generator) -> list[str]:
    """A kennel's word and a dog's own, of two or three invented syllables each.

    One kennel for 50 dogs, the busiest with far more; sounds are as uneven as a language's.
    """
    kennels = _words(max(how_many // 50, 1), random)
    share = 1 / np.arange(10, len(kennels) + 10)
    kennel = random.choice(kennels, how_many, p=share / share.sum())
    names: list[str] = np.char.add(np.char.add(kennel, " "), _words(how_many, random)).tolist()
    return names


def _words(how_many: int, random: np.random.Generator) -> NDArray[np.str_]:
    """Words of syllables of a first sound, a vowel and a last sound; the first of each is the
    commonest."""
    sounds = [
        np.array(each.split("."))
        for each in (
            "t.s.b.r.m.l.d.c.h.w.f.n.p.g.k.br.st.th.j.v.tr.fl.gr.sh.cl.dr.y.qu.sw.z",
            "a.e.o.i.u.ea.oo.ai.ou.y.ie.au",
            "n.r..l.s.t.m.d.ck.nd.th.g.rn.ll.w.st.ng.p.x.sk",
        )
    ]
    words = np.zeros(how_many, dtype="U24")
    for is_third in (False, False, True):
        syllable = np.zeros(how_many, dtype="U8")
        for some in sounds:
            weight = 1 / np.sqrt(np.arange(1, len(some) + 1))
            syllable = np.char.add(syllable, random.choice(some, how_many, p=weight / weight.sum()))
        has_it = random.random(how_many) < (0.4 if is_third else 1)
        words = np.char.add(words, np.where(has_it, syllable, ""))
    return np.asarray(np.char.capitalize(words), dtype=np.str_)


def _evaluations(club: Club, dog: Numbers, day: Numbers, is_last: NDArray[np.bool_]) -> None:
    days = _texts_of_days()
    rows = (
        (
            place,
            f"b{place:015d}",
            f"B{place:09d}",
            "accepted" if last else "replaced",
            dog_id,
            club.clinic.pk,
            days[day_id],
            "Dr. Vera Oakhollow",
            "{}",
            True,
            club.nurse.user.pk,
            f"{days[day_id]} 09:00:00",
            f"{days[day_id]} 10:00:00",
            "",
            "[]",
            1,
        )
        for place, (dog_id, day_id, last) in enumerate(
            zip(dog.tolist(), day.tolist(), is_last.tolist(), strict=True)
        )
    )
    columns = (
        "id public_id reference state dog_id clinic_id examined_on examiner conditions"
        " consent_to_publish submitted_by_id submitted_at accepted_at reason fields_to_fix version"
    )
    copy_rows("registry_evaluation", columns.split(), rows)


def _readings(trait_id: int, steps: Numbers) -> None:
    rows = (
        (2 * place + side, place, trait_id, ("left", "right")[side], step)
        for place, pair in enumerate(steps.tolist())
        for side, step in enumerate(pair)
    )
    copy_rows("registry_reading", ["id", "evaluation_id", "trait_id", "side", "step"], rows)


def _certificates(day: Numbers) -> None:
    days = _texts_of_days()
    rows = (
        (place, f"B{place:09d}", place, f"{days[day_id]} 10:00:00", "{}", place)
        for place, day_id in enumerate(day.tolist())
    )
    copy_rows(
        "registry_certificate",
        ["id", "number", "evaluation_id", "issued_at", "standing", "status_place"],
        rows,
    )


def _counted(
    trait_id: int,
    evaluation: Numbers,
    breed: Numbers,
    sex: Numbers,
    dog: Numbers,
    day: Numbers,
    step: Numbers,
) -> None:
    days = _texts_of_days()
    columns = [part.tolist() for part in (evaluation, breed, sex, dog, day, step)]
    rows = (
        (
            evaluation_id,
            breed_id,
            trait_id,
            "FM"[sex_id],
            dog_id,
            evaluation_id,
            f"{days[day_id][:7]}-01",
            worst,
            f"{days[day_id]} 10:00:00",
        )
        for evaluation_id, breed_id, sex_id, dog_id, day_id, worst in zip(*columns, strict=True)
    )
    names = "id breed_id trait_id sex dog_id evaluation_id month step counted_from"
    copy_rows("registry_countedvalue", names.split(), rows)


def _texts_of_days() -> list[str]:
    """Day 0 to the last as ISO text; the last lies before today."""
    first: date = timezone.localdate() - timedelta(days=_DAYS + 30)
    return [(first + timedelta(days=place)).isoformat() for place in range(_DAYS)]


def copy_rows(table: str, columns: list[str], rows: Iterable[tuple[Any, ...]]) -> None:
    """Write rows the quickest way the database has; every column must be named."""
    names = ", ".join(columns)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            places = ", ".join(["%s"] * len(columns))
            # An iterator does, so that a million rows need not lie in memory at once.
            some = cast("Sequence[tuple[Any, ...]]", rows)
            cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({places})", some)
