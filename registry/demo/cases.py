"""What became of the examinations, and the problems planted in those that still wait.

Every check of the registry is met at least once, each in an examination of its own, beside a good
number of clean ones. Pure: planned examinations in, planned examinations out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from registry.demo.naming import one_digit_off
from registry.demo.scenario import Clinics, Club, PlannedDog, PlannedExam, invent_dogs, invent_exams
from registry.demo.words import Words

_FULL_SIZE = 3000
_YOUNG_FILM = frozenset({"hip-laxity", "norberg-angle"})
_GROWN_FILM = frozenset({"hip-laxity", "norberg-angle", "hip-grade-extended"})

# How many of each at full size; a smaller club has fewer, but never none.
_FATES = {
    "returned": 7,
    "revoked": 12,
    "corrected": 8,
    "declined": 18,
    "withdrawn": 10,
    "answered": 70,
}
_CLEAN_WAITING = 18
# A result that was sent back and still waits for its clinic is of these last months.
_LATELY = 40


def invent_club(words: Words, *, today: date, size: int, seed: int) -> Club:
    """The whole club of about ``size`` dogs; the same for the same input."""
    dogs, sides = invent_dogs(words, today=today, size=size, seed=seed)
    rng = np.random.default_rng(np.random.SeedSequence([seed, 1]))
    clinics = Clinics(words, today, sides, rng)
    exams = invent_exams(dogs, clinics)
    scale = min(1.0, size / _FULL_SIZE)
    _decide_fates(exams, words, rng, scale)
    for exam in exams:
        wants_film = exam.fate != "accepted" or rng.random() < 0.12
        exam.pictures = clinics.films(exam, int(rng.integers(1, 4)) if wants_film else 0)
    planting = _Planting(dogs, exams, clinics)
    planted = planting.all_cases()
    return Club(words, today, tuple(planting.dogs), sides, (*exams, *planted))


def _decide_fates(
    exams: list[PlannedExam], words: Words, rng: np.random.Generator, scale: float
) -> None:
    """The newest wait; of the others some, in all the years, did not simply get accepted."""
    waiting = max(2, round(_CLEAN_WAITING * scale))
    for exam in exams[-waiting:]:
        exam.fate = "waiting"
    settled = exams[:-waiting]
    lately = settled[-_LATELY:]
    for fate, full in _FATES.items():
        pool = [
            exam for exam in (lately if fate == "returned" else settled) if exam.fate == "accepted"
        ]
        wanted = min(max(1, round(full * scale)), len(pool))
        told = words.reasons["returned" if fate == "answered" else fate]
        for number, place in enumerate(rng.choice(len(pool), size=wanted, replace=False)):
            exam = pool[int(place)]
            exam.fate = fate
            said = told if isinstance(told, str) else told[number % len(told)]
            exam.reason = said if isinstance(said, str) else said["reason"]
            exam.fields = () if isinstance(said, str) else tuple(said["fields"])


@dataclass(frozen=True, slots=True)
class _Found:
    """A dog that fits a case, and the day on which it was examined."""

    dog: PlannedDog
    day: date


class _Planting:
    """Plants one problem after another; a dog carries at most one."""

    def __init__(
        self, dogs: Sequence[PlannedDog], exams: Sequence[PlannedExam], clinics: Clinics
    ) -> None:
        self.registered = tuple(dogs)
        self.dogs = list(dogs)
        self.exams = exams
        self.clinics = clinics
        self.rng = clinics.rng
        self.today = clinics.today
        self.used = {exam.dog for exam in exams if exam.fate != "accepted"}
        self.examined = {exam.dog for exam in exams}

    def all_cases(self) -> list[PlannedExam]:
        """One examination for each planted problem, in the order in which they are sent."""
        twice: tuple[Callable[[], PlannedExam], ...] = (
            self._too_young_for_index,
            self._index_is_not_the_quotient,
            self._sides_differ,
            self._chip_of_another_dog,
            self._sent_twice,
            self._film_of_another_dog,
        )
        once: tuple[Callable[[], PlannedExam], ...] = (
            self._too_young_for_grade,
            self._chip_not_on_record,
            self._chip_not_read,
            self._sides_exchanged,
            self._far_from_the_breed,
            self._outside_the_range,
        )
        return [plant() for plant in (*twice, *once, *twice, self._new_dog, self._new_dog)]

    def _fresh(self, *, youngest: int, oldest: int) -> _Found:
        """A dog never examined that was so many days old a few weeks ago at the most."""
        for days_ago in range(int(self.rng.integers(8, 30)), 900):
            day = self.today - timedelta(days=days_ago)
            for dog in self.registered:
                fits = youngest <= (day - dog.born_on).days <= oldest and dog.chip
                if fits and dog.key not in self.used | self.examined:
                    self.used.add(dog.key)
                    return _Found(dog, day)
        raise ValueError("the club is too small for all planted cases; make it larger")

    def _accepted(self, trait: str) -> PlannedExam:
        """The newest accepted examination with this trait, of a dog without a case."""
        for exam in reversed(self.exams):
            has_trait = any(reading["trait"] == trait for reading in exam.body["readings"])
            if exam.fate == "accepted" and exam.dog not in self.used and has_trait:
                self.used.add(exam.dog)
                return exam
        raise ValueError("the club is too small for all planted cases; make it larger")

    def _exam(self, found: _Found, traits: frozenset[str], case: str) -> PlannedExam:
        exam = self.clinics.exam(found.dog, found.day, traits)
        exam.body["conditions"]["chip_read"] = True
        exam.fate, exam.case = "waiting", case
        exam.pictures = self.clinics.films(exam, 2)
        return exam

    def _too_young_for_index(self) -> PlannedExam:
        return self._exam(
            self._fresh(youngest=88, oldest=104), frozenset({"hip-laxity"}), "too_young"
        )

    def _too_young_for_grade(self) -> PlannedExam:
        found = self._fresh(youngest=200, oldest=330)
        return self._exam(found, frozenset({"hip-grade-extended", "elbow-grade"}), "too_young")

    def _index_is_not_the_quotient(self) -> PlannedExam:
        exam = self._exam(self._grown(), _GROWN_FILM, "index_mismatch")
        # 4.8 / 11.2 is 0.43: somebody read the wrong line.
        lengths = {"head_radius_mm": "11.2", "displacement_mm": "4.8", "value": "0.34"}
        _set(exam, "hip-laxity", "right", lengths)
        return exam

    def _sides_differ(self) -> PlannedExam:
        exam = self._exam(self._grown(), _GROWN_FILM, "sides_differ")
        _set(exam, "hip-laxity", "left", {"value": "0.31"})
        _set(exam, "hip-laxity", "right", {"value": "0.66"})
        return exam

    def _chip_of_another_dog(self) -> PlannedExam:
        exam = self._exam(self._grown(), _GROWN_FILM, "chip_conflict")
        other = next(
            dog
            for dog in reversed(self.registered)
            if dog.litter != self.dogs[exam.dog].litter and dog.chip
        )
        exam.body["conditions"]["chip_as_read"] = other.chip
        return exam

    def _chip_not_on_record(self) -> PlannedExam:
        exam = self._exam(self._grown(), _GROWN_FILM, "chip_conflict")
        exam.body["conditions"]["chip_as_read"] = one_digit_off(self.dogs[exam.dog].chip, self.rng)
        return exam

    def _chip_not_read(self) -> PlannedExam:
        exam = self._exam(self._grown(), _GROWN_FILM, "chip_not_read")
        exam.body["conditions"]["chip_read"] = False
        return exam

    def _sent_twice(self) -> PlannedExam:
        first = self._accepted("hip-laxity")
        day = min(first.examined_on + timedelta(days=5), self.today)
        found = _Found(self.dogs[first.dog], day)
        return self._exam(found, _YOUNG_FILM, "possible_duplicate")

    def _sides_exchanged(self) -> PlannedExam:
        first = self._accepted("norberg-angle")
        for reading in first.body["readings"]:
            if reading["trait"] == "norberg-angle":
                # Two different angles, so that an exchange can be seen at all.
                reading["value"] = "103.5" if reading["side"] == "left" else "101"
        day = min(first.examined_on + timedelta(days=30), self.today)
        exam = self._exam(
            _Found(self.dogs[first.dog], day), frozenset({"norberg-angle"}), "sides_swapped"
        )
        _set(exam, "norberg-angle", "left", {"value": "101"})
        _set(exam, "norberg-angle", "right", {"value": "103.5"})
        return exam

    def _film_of_another_dog(self) -> PlannedExam:
        exam = self._exam(self._grown(), _GROWN_FILM, "same_evidence")
        shown = next(
            other
            for other in reversed(self.exams)
            if other.fate == "accepted" and other.pictures and other.dog not in self.used
        )
        self.used.add(shown.dog)
        exam.pictures = (exam.pictures[0], shown.pictures[0])
        return exam

    def _far_from_the_breed(self) -> PlannedExam:
        exam = self._exam(self._grown(), _GROWN_FILM, "beyond_four_sd")
        _set(exam, "hip-laxity", "left", {"value": "1.12"})
        _set(exam, "hip-laxity", "right", {"value": "1.09"})
        return exam

    def _outside_the_range(self) -> PlannedExam:
        exam = self._exam(self._grown(), _GROWN_FILM, "outside_plausible")
        _set(exam, "norberg-angle", "left", {"value": "58"})
        return exam

    def _new_dog(self) -> PlannedExam:
        """A dog that the register never heard of: the clinic adds it with the result."""
        found = self._grown()
        like = found.dog
        chip = one_digit_off(like.chip, self.rng)
        # A litter mate that nobody registered, whose chip is one slip away from its sibling's.
        dog = replace(
            like,
            key=len(self.dogs),
            name=f"{like.name} Too",
            call_name="",
            chip=chip,
            studbook_number="",
            is_parent=False,
        )
        self.dogs.append(dog)
        exam = self._exam(
            replace(found, dog=replace(dog, key=like.key)), _GROWN_FILM, "dog_unconfirmed"
        )
        exam.dog = dog.key
        return exam

    def _grown(self) -> _Found:
        return self._fresh(youngest=380, oldest=2600)


def _set(exam: PlannedExam, trait: str, side: str, values: dict[str, Any]) -> None:
    """Give one reading these values instead of its own."""
    for reading in exam.body["readings"]:
        if reading["trait"] == trait and reading["side"] == side:
            for name in ("value", "head_radius_mm", "displacement_mm"):
                reading.pop(name, None)
            reading.update(values)
