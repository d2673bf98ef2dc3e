"""The invented club on paper: its dogs, and every examination that will be sent in.

Pure: the words, a seed, a size and today's day in; planned dogs and examinations out, the same for
the same input. What went wrong in some of them is ``cases``; handing them to the desk is ``load``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from registry.demo.genetics import Values
from registry.demo.measures import Examined, index_of, lasting_sides, readings
from registry.demo.naming import KennelNames, chips, owner
from registry.demo.pictures import KINDS, Picture
from registry.demo.population import Population, breed_population
from registry.demo.words import BreedWords, ClinicWords, Words

_YEAR_DAYS = 365.25
_LATEST_EXAM_DAYS = 9
_MAIL_DAYS = 240


@dataclass(frozen=True, slots=True)
class PlannedDog:
    """One dog; ``sire`` and ``dam`` are keys, always lower than the dog's own."""

    key: int
    breed: BreedWords
    generation: int
    name: str
    call_name: str
    sex: str
    born_on: date
    died_on: date | None
    colour: str
    chip: str
    studbook_number: str
    kennel: int
    sire: int | None
    dam: int | None
    litter: int | None
    is_parent: bool


@dataclass(slots=True)
class PlannedExam:
    """One examination; ``body`` is the REST body without dog and evidence.

    ``fate``: accepted, waiting, returned, declined, withdrawn, revoked or corrected. ``case`` names
    what was planted in it, empty for nothing.
    """

    dog: int
    clinic: str
    examined_on: date
    body: dict[str, Any]
    pictures: tuple[Picture, ...] = ()
    fate: str = "accepted"
    case: str = ""
    reason: str = ""
    fields: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Club:
    """All dogs, parents first, and all examinations as they took place, oldest first."""

    words: Words
    today: date
    dogs: tuple[PlannedDog, ...]
    sides: Values
    exams: tuple[PlannedExam, ...]


def invent_dogs(
    words: Words, *, today: date, size: int, seed: int
) -> tuple[list[PlannedDog], Values]:
    """The dogs of all breeds, and each dog's lasting sides in an array of shape (n, 2, 3)."""
    streams = np.random.SeedSequence(seed).spawn(3 + len(words.breeds))
    names_rng, chips_rng, sides_rng = (np.random.default_rng(stream) for stream in streams[:3])
    names = KennelNames(words, names_rng)
    dogs: list[PlannedDog] = []
    values: list[Values] = []
    for breed, stream in zip(words.breeds, streams[3:], strict=True):
        bred = breed_population(
            size=max(16, round(size * breed.share)),
            today=today.toordinal(),
            selection=breed.selection,
            rng=np.random.default_rng(stream),
        )
        dogs += _named(words, breed, bred, len(dogs), today, names, names_rng)
        values.append(bred.value)
    numbers = chips(words, len(dogs), chips_rng)
    dogs = [_chipped(dog, chip, chips_rng) for dog, chip in zip(dogs, numbers, strict=True)]
    return dogs, lasting_sides(np.concatenate(values), sides_rng)


class Clinics:
    """Makes examinations: who examined which dog where, and what was read."""

    def __init__(self, words: Words, today: date, sides: Values, rng: np.random.Generator) -> None:
        self.words = words
        self.today = today
        self.rng = rng
        self._sides = sides
        shares = np.array([clinic.share for clinic in words.clinics])
        self._shares = shares / shares.sum()
        # A kennel goes to the clinic next door most of the time.
        self._next_door = rng.choice(len(shares), size=len(words.kennels), p=self._shares)
        self._films = 0

    def exam(self, dog: PlannedDog, day: date, traits: frozenset[str]) -> PlannedExam:
        """One examination with its readings, owner and consent; films are for the caller to add."""
        clinic = self._clinic(dog)
        age_days = (day - dog.born_on).days
        examined = Examined(
            sex=dog.sex,
            age_years=age_days / _YEAR_DAYS,
            index_shift=clinic.index_shift,
            traits=traits,
            gives_lengths=bool(self.rng.random() < 0.45),
        )
        grown = min(1.0, 0.45 + age_days / 700)
        weight = dog.breed.weight_kg[dog.sex] * grown * float(self.rng.normal(1, 0.06))
        body = {
            "examined_on": day.isoformat(),
            "examiner": str(self.rng.choice(clinic.examiners)),
            "conditions": {
                "restraint": "sedation" if self.rng.random() < 0.85 else "general-anaesthesia",
                "chip_read": bool(dog.chip) and bool(self.rng.random() < 0.99),
                "weight_kg": f"{weight:.1f}",
            },
            "readings": readings(self._sides[dog.key], dog.breed.joints, examined, self.rng),
            "owner": owner(self.words, self.rng, with_mail=(self.today - day).days <= _MAIL_DAYS),
            "consent_to_publish": bool(self.rng.random() < 0.82),
        }
        return PlannedExam(dog=dog.key, clinic=clinic.key, examined_on=day, body=body)

    def films(self, exam: PlannedExam, count: int) -> tuple[Picture, ...]:
        """So many films of an examination, each a file of its own."""
        found = exam.body["readings"]
        made = []
        for _each in range(count):
            self._films += 1
            kind = KINDS[self._films % len(KINDS)]
            made.append(
                Picture(kind, self._films, index_of(found, "left"), index_of(found, "right"))
            )
        return tuple(made)

    def traits(self, dog: PlannedDog, day: date) -> frozenset[str]:
        """Which traits are looked at, given the dog's age on the day."""
        is_grown = (day - dog.born_on).days >= 372
        chances = {
            "hip-laxity": 0.94 if is_grown else 1.0,
            "hip-laxity-compression": 0.12,
            "norberg-angle": 0.8,
            "hip-grade-extended": 0.85 if is_grown else 0.0,
            "elbow-grade": dog.breed.elbow_share if is_grown else 0.0,
        }
        looked = {slug for slug, chance in chances.items() if self.rng.random() < chance}
        return frozenset(looked or {"hip-laxity"})

    def _clinic(self, dog: PlannedDog) -> ClinicWords:
        near = self.rng.random() < 0.7
        place = (
            self._next_door[dog.kennel]
            if near
            else self.rng.choice(len(self._shares), p=self._shares)
        )
        return self.words.clinics[int(place)]


def invent_exams(dogs: list[PlannedDog], clinics: Clinics) -> list[PlannedExam]:
    """The examinations of all dogs within the years of results, oldest first."""
    rng = clinics.rng
    eager: dict[int, float] = {}
    exams: list[PlannedExam] = []
    for dog in dogs:
        # Breeders differ: some have whole litters examined, others hardly a dog.
        litter = dog.litter if dog.litter is not None else -dog.key - 1
        habit = eager.setdefault(litter, float(rng.normal(0, 0.18)))
        chance = 0.96 if dog.is_parent else dog.breed.examined + habit
        if rng.random() < chance:
            exams += [
                clinics.exam(dog, day, clinics.traits(dog, day)) for day in _exam_days(dog, clinics)
            ]
    return sorted(exams, key=lambda exam: (exam.examined_on, exam.dog))


def _exam_days(dog: PlannedDog, clinics: Clinics) -> Iterator[date]:
    """The days on which the dog is examined: young, grown, or both; within the years of results."""
    rng = clinics.rng
    first = clinics.today - timedelta(days=round(clinics.words.years_of_results * _YEAR_DAYS))
    last = clinics.today - timedelta(days=_LATEST_EXAM_DAYS)
    ages = []
    is_early = rng.random() < 0.45
    if is_early:
        ages.append(int(rng.integers(118, 290)))
    if not is_early or rng.random() < 0.16:
        ages.append(int(rng.integers(380, 860)))
    for age in ages:
        day = dog.born_on + timedelta(days=age)
        if first <= day <= last:
            yield day


def _named(
    words: Words,
    breed: BreedWords,
    bred: Population,
    offset: int,
    today: date,
    names: KennelNames,
    rng: np.random.Generator,
) -> Iterator[PlannedDog]:
    """The dogs of one breed with names, colours and stud book numbers; still without chips."""
    kennels: dict[int, int] = {}
    litter_names: dict[int, Iterator[str]] = {}
    last_litter = _last_litters(bred)
    in_year: dict[int, int] = {}
    for place in range(len(bred)):
        sire, dam, litter = int(bred.sire[place]), int(bred.dam[place]), int(bred.litter[place])
        key = litter if litter >= 0 else -1 - place
        if key not in litter_names:
            # A bitch mostly whelps where she was born; else her new home names the litter.
            stays = dam >= 0 and rng.random() < 0.6
            kennels[key] = kennels[_litter_key(bred, dam)] if stays else names.any_kennel()
            litter_names[key] = names.litter(kennels[key])
        born_on = date.fromordinal(int(bred.born[place]))
        in_year[born_on.year] = serial = in_year.get(born_on.year, 0) + 1
        sex = "M" if bred.is_male[place] else "F"
        yield PlannedDog(
            key=offset + place,
            breed=breed,
            generation=int(bred.generation[place]),
            name=next(litter_names[key]),
            call_name=str(rng.choice(words.call_names[sex])) if rng.random() < 0.8 else "",
            sex=sex,
            born_on=born_on,
            died_on=_died_on(born_on, last_litter.get(place, 0), today, rng),
            colour=str(rng.choice(breed.colours)),
            chip="",
            studbook_number=f"{breed.prefix} {born_on.year}/{serial:04d}",
            kennel=kennels[key],
            sire=offset + sire if sire >= 0 else None,
            dam=offset + dam if dam >= 0 else None,
            litter=litter + offset if litter >= 0 else None,
            is_parent=place in last_litter,
        )


def _litter_key(bred: Population, place: int) -> int:
    litter = int(bred.litter[place])
    return litter if litter >= 0 else -1 - place


def _last_litters(bred: Population) -> dict[int, int]:
    """Of every parent, the ordinal of the day its last litter was born."""
    last: dict[int, int] = {}
    for parents in (bred.sire, bred.dam):
        for parent, born in zip(parents.tolist(), bred.born.tolist(), strict=True):
            if parent >= 0:
                last[parent] = max(last.get(parent, 0), born)
    return last


def _died_on(born_on: date, last_litter: int, today: date, rng: np.random.Generator) -> date | None:
    """When the dog died, if it is dead: old, and never before its last litter was born."""
    age_days = max(8.5 * _YEAR_DAYS, float(rng.normal(12.5, 2.0)) * _YEAR_DAYS)
    day = max(born_on.toordinal() + round(age_days), last_litter)
    return date.fromordinal(day) if day <= today.toordinal() else None


def _chipped(dog: PlannedDog, chip: str, rng: np.random.Generator) -> PlannedDog:
    """The dog with its chip; many of the oldest generation never had one."""
    has_none = dog.generation == 1 and rng.random() < 0.4
    return replace(dog, chip="" if has_none else chip)
