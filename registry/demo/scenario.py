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
# Of a hundred litters born after the founders' time: nobody wrote down the sire, or the dam, or
# either of them.
_NO_SIRE, _NO_DAM, _NEITHER = 0.04, 0.01, 0.015
_FIRST_UNWRITTEN = 3
_GOLDEN = (5**0.5 - 1) / 2
# A second look at a dog's joints some months or years later, at the same clinic.
_SEEN_AGAIN = 0.12
_AGAIN_DAYS = (150, 1000)
# One young dog in so many is examined at this age: then a check says stop, and it takes two
# registrars to go past it.
_ONE_TOO_EARLY, _TOO_EARLY_DAYS = 40, 109
_MAIL_DAYS = 240


@dataclass(frozen=True, slots=True)
class PlannedDog:
    """One dog; ``sire`` and ``dam`` are keys, always lower than the dog's own, of parents that
    somebody wrote down. ``is_imported`` is a dog born abroad."""

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
    is_imported: bool


@dataclass(slots=True)
class PlannedExam:
    """One examination; ``body`` is the REST body without dog and evidence.

    ``fate``: accepted, waiting, returned, answered (returned, sent again and accepted), declined,
    withdrawn, revoked or corrected. ``case`` names what was planted in it, empty for nothing.
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
    """The dogs of all breeds, and each dog's lasting sides in an array of shape (n, 2, 4)."""
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
        self.early = 0
        # Readers differ a little, and each drifts a little with the years.
        self._readers = {
            name: rng.normal(0, (0.006, 0.003))
            for clinic in words.clinics
            for name in clinic.examiners
        }

    def exam(
        self,
        dog: PlannedDog,
        day: date,
        traits: frozenset[str],
        clinic: ClinicWords | None = None,
    ) -> PlannedExam:
        """One examination with its readings, owner and consent; films are for the caller to add."""
        clinic = clinic or self.clinic_of(dog)
        reader = str(self.rng.choice(clinic.examiners))
        age_days = (day - dog.born_on).days
        examined = Examined(
            sex=dog.sex,
            age_years=age_days / _YEAR_DAYS,
            index_shift=clinic.index_shift + self._reader_shift(reader, day),
            traits=traits,
            gives_lengths=bool(self.rng.random() < 0.45),
        )
        grown = min(1.0, 0.45 + age_days / 700)
        weight = dog.breed.weight_kg[dog.sex] * grown * float(self.rng.normal(1, 0.06))
        body = {
            "examined_on": day.isoformat(),
            "examiner": reader,
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

    def traits(self, dog: PlannedDog, day: date, clinic: ClinicWords) -> frozenset[str]:
        """Which traits are looked at, given the dog's age on the day and the clinic's habits."""
        is_grown = (day - dog.born_on).days >= 372
        chances = {
            "hip-laxity": 0.94 if is_grown else 1.0,
            "hip-laxity-compression": clinic.compression_share,
            "norberg-angle": 0.8,
            "hip-grade-extended": 0.85 if is_grown else 0.0,
            "elbow-grade": dog.breed.elbow_share if is_grown else 0.0,
        }
        looked = {slug for slug, chance in chances.items() if self.rng.random() < chance}
        return frozenset(looked or {"hip-laxity"})

    def _reader_shift(self, reader: str, day: date) -> float:
        """How much higher the reader measures the index on this day than readers do at first."""
        offset, a_year = self._readers[reader]
        first = self.today - timedelta(days=self.words.years_of_results * _YEAR_DAYS)
        return float(offset + a_year * (day - first).days / _YEAR_DAYS)

    def clinic_of(self, dog: PlannedDog) -> ClinicWords:
        """A clinic for the dog: most of the time the one next door to where it was bred."""
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
    habits: dict[int, float] = {}
    exams: list[PlannedExam] = []
    for dog in dogs:
        # Breeders differ: some have whole litters examined, others hardly a dog.
        litter = dog.litter if dog.litter is not None else -dog.key - 1
        habit = habits.setdefault(litter, float(rng.normal(0, 0.3)))
        chance = 0.96 if dog.is_parent else dog.breed.examined + habit
        if rng.random() < chance:
            exams += _exams_of(dog, clinics)
    return sorted(exams, key=lambda exam: (exam.examined_on, exam.dog))


def _exams_of(dog: PlannedDog, clinics: Clinics) -> Iterator[PlannedExam]:
    """The dog's examinations; of some dogs the last one is made once more, with the same views."""
    rng = clinics.rng
    seen: tuple[date, frozenset[str], ClinicWords] | None = None
    for day in _exam_days(dog, clinics):
        clinic = clinics.clinic_of(dog)
        seen = day, clinics.traits(dog, day, clinic), clinic
        yield clinics.exam(dog, *seen)
    if seen is not None and rng.random() < _SEEN_AGAIN:
        day, traits, clinic = seen
        again = day + timedelta(days=int(rng.integers(*_AGAIN_DAYS)))
        if _is_within(again, dog, clinics):
            yield clinics.exam(dog, again, traits, clinic)


def _exam_days(dog: PlannedDog, clinics: Clinics) -> list[date]:
    """The days on which the dog is examined: young, grown, years later, or twice."""
    rng = clinics.rng
    ages = []
    is_early = rng.random() < 0.45
    if is_early:
        ages.append(_early_age(int(rng.integers(118, 290)), dog, clinics))
    if not is_early or rng.random() < 0.16:
        ages.append(int(rng.integers(860, 2600) if rng.random() < 0.15 else rng.integers(380, 860)))
    days = [dog.born_on + timedelta(days=age) for age in ages]
    return [day for day in days if _is_within(day, dog, clinics)]


def _early_age(age: int, dog: PlannedDog, clinics: Clinics) -> int:
    """In days; now and then an owner comes a few days before the dog is old enough."""
    if _is_within(dog.born_on + timedelta(days=age), dog, clinics):
        clinics.early += 1
        if clinics.early % _ONE_TOO_EARLY == 5:
            return _TOO_EARLY_DAYS
    return age


def _is_within(day: date, dog: PlannedDog, clinics: Clinics) -> bool:
    """Whether the day lies in the years of results, and in the dog's life."""
    years = timedelta(days=round(clinics.words.years_of_results * _YEAR_DAYS))
    last = clinics.today - timedelta(days=_LATEST_EXAM_DAYS)
    return clinics.today - years <= day <= last and (dog.died_on is None or day <= dog.died_on)


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
    in_year: dict[str, int] = {}
    written: dict[int, tuple[bool, bool]] = {}
    # Of any litters in a row nearly the same share: a small breed would else have none, or many.
    luck = float(rng.random())
    for place in range(len(bred)):
        sire, dam, litter = int(bred.sire[place]), int(bred.dam[place]), int(bred.litter[place])
        key = litter if litter >= 0 else -1 - place
        if key not in litter_names:
            # A bitch mostly whelps where she was born; else her new home names the litter.
            stays = dam >= 0 and rng.random() < 0.6
            kennels[key] = kennels[_litter_key(bred, dam)] if stays else names.any_kennel()
            litter_names[key] = (
                names.abroad() if _is_imported(bred, place) else names.litter(kennels[key])
            )
            luck = (luck + _GOLDEN) % 1
            is_later = bred.generation[place] >= _FIRST_UNWRITTEN
            written[key] = _written(luck) if is_later else (True, True)
        born_on = date.fromordinal(int(bred.born[place]))
        # A dog from abroad keeps the stud book number of its country.
        book = f"{breed.prefix}{'-A' if _is_imported(bred, place) else ''} {born_on.year}"
        in_year[book] = serial = in_year.get(book, 0) + 1
        has_sire, has_dam = written[key]
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
            studbook_number=f"{book}/{serial:04d}",
            kennel=kennels[key],
            sire=offset + sire if sire >= 0 and has_sire else None,
            dam=offset + dam if dam >= 0 and has_dam else None,
            litter=litter + offset if litter >= 0 else None,
            is_parent=place in last_litter,
            is_imported=_is_imported(bred, place),
        )


def _is_imported(bred: Population, place: int) -> bool:
    return bool(bred.litter[place] < 0 and bred.generation[place] > 1)


def _written(luck: float) -> tuple[bool, bool]:
    """Whether a litter's sire and dam stand in the register; ``luck`` is from 0 up to 1."""
    if luck < _NO_SIRE:
        return False, True
    if luck < _NO_SIRE + _NO_DAM:
        return True, False
    is_known = luck >= _NO_SIRE + _NO_DAM + _NEITHER
    return is_known, is_known


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
