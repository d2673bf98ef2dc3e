"""When everything in the invented club took place: eleven years, day by day, in office hours.

Dogs are registered some weeks after birth, examinations announced before they take place, results
sent some days after them and decided on some working days later; a few are put right, revoked or
released months after that. Pure: the planned club and a random generator in, happenings out in
their order; ``load`` lets them happen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal

import numpy as np

from registry.demo.scenario import Club, PlannedDog, PlannedExam

Kind = Literal[
    "register",
    "died",
    "announce",
    "withdraw_announcement",
    "send",
    "send_again",
    "withdraw",
    "accept",
    "return",
    "decline",
    "revoke",
    "replace",
    "release",
    "withhold",
    "half_year",
    "quarter",
]

# Before the first result there was time to open the books and copy the stud book into them.
_OPENED_BEFORE = timedelta(days=75)
_STUD_BOOK_DAYS = 25
_FIRST_ANNOUNCEMENTS_YEARS = 4


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that took place at ``at`` (local time without a zone); ``dog`` and ``exam`` are
    places in the club's lists, -1 where it is about none."""

    at: datetime
    what: Kind
    dog: int = -1
    exam: int = -1


def opened_on(club: Club) -> date:
    """The day on which the club began to keep this register."""
    years = timedelta(days=round(club.words.years_of_results * 365.25))
    return working_day(club.today - years - _OPENED_BEFORE)


def history(club: Club, rng: np.random.Generator) -> list[Happening]:
    """Everything that took place before today, oldest first; of one moment, parents first."""
    planner = _Planner(club, rng)
    happenings = [
        *planner.registrations(),
        *(each for at in range(len(club.exams)) for each in planner.course(at)),
        *planner.deaths(),
        *planner.announced_in_vain(),
        *planner.turns_of_the_year(),
    ]
    # Sorting keeps the order of what is of one moment.
    return sorted(happenings, key=lambda each: each.at)


def working_day(day: date) -> date:
    """The day itself, or the Monday after it."""
    return day + timedelta(days=max(0, 7 - day.weekday()) if day.weekday() > 4 else 0)


def later(day: date, days: int) -> date:
    """So many working days after the day."""
    return date.fromisoformat(str(np.busday_offset(day.isoformat(), days, roll="backward")))


class _Planner:
    """Draws the days; what has to come first is kept by dog and by examination."""

    def __init__(self, club: Club, rng: np.random.Generator) -> None:
        self.club = club
        self.rng = rng
        self.opened = opened_on(club)
        # Yesterday's office hours are the last that have passed, whatever the hour is now.
        self.last = later(club.today - timedelta(days=1), 0)
        self.registered: dict[int, date] = {}
        # Litters and first examinations bind the day on which a dog must have been known.
        self.needed = self._needed()
        self.accepted: dict[int, date] = {}

    def registrations(self) -> Iterator[Happening]:
        """Every dog's, parents first; those that a clinic adds come with their result."""
        added = {exam.dog for exam in self.club.exams if exam.case == "dog_unconfirmed"}
        waits: dict[tuple[str, int], int] = {}
        known = [dog for dog in self.club.dogs if dog.key not in added]
        old = sum(dog.born_on < self.opened for dog in known)
        place = 0
        for dog in known:
            if dog.born_on < self.opened and not dog.is_imported:
                # The stud book as it stood, copied in its own order.
                day = later(self.opened, 1 + place * _STUD_BOOK_DAYS // max(1, old))
                place += 1
            else:
                litter = (dog.breed.slug, dog.litter if dog.litter is not None else -dog.key - 1)
                usual = (
                    self.rng.integers(200, 600) if dog.is_imported else self.rng.integers(45, 80)
                )
                waits.setdefault(litter, int(usual))
                day = working_day(dog.born_on + timedelta(days=waits[litter]))
            day = max(self._in_time(dog, day), self._after_parents(dog))
            self.registered[dog.key] = day
            # The clerk's mornings, parents before their young.
            moment = datetime.combine(day, time(9)) + timedelta(seconds=dog.key)
            yield Happening(moment, "register", dog=dog.key)

    def deaths(self) -> Iterator[Happening]:
        """The club hears of a death some weeks later; of one before its time it knew at once."""
        for dog in self.club.dogs:
            if dog.died_on is not None and dog.died_on > self.registered.get(dog.key, date.max):
                told = working_day(dog.died_on + timedelta(days=int(self.rng.integers(3, 90))))
                if told <= self.last:
                    yield Happening(self._at(told, 14, 16), "died", dog=dog.key)

    def course(self, at: int) -> Iterator[Happening]:
        """One examination from its announcement to what became of it."""
        exam = self.club.exams[at]
        sent = self._sent_on(exam)
        if (announced := self._announced_on(exam)) is not None:
            yield Happening(self._at(announced, 10, 12), "announce", exam.dog, at)
        yield Happening(self._at(sent, 12, 16), "send", exam.dog, at)
        if exam.fate == "waiting":
            return
        if exam.fate == "withdrawn":
            back = min(later(sent, int(self.rng.integers(0, 3))), self.last)
            yield Happening(self._at(back, 16, 17), "withdraw", exam.dog, at)
            return
        decided = self._decided_on(sent)
        if exam.fate in ("returned", "answered"):
            yield Happening(self._at(decided, 17, 20), "return", exam.dog, at)
        if exam.fate == "returned":
            return
        if exam.fate == "answered":
            again = min(later(decided, int(self.rng.integers(1, 12))), later(self.last, -1))
            again = max(again, decided)
            yield Happening(self._at(max(again, decided), 20, 21), "send_again", exam.dog, at)
            decided = max(self._decided_on(again), later(again, 1))
        if exam.fate == "declined":
            yield Happening(self._at(decided, 17, 20), "decline", exam.dog, at)
            return
        yield Happening(self._at(decided, 17, 20), "accept", exam.dog, at)
        self.accepted[at] = decided
        yield from self._afterwards(exam, at, decided)

    def announced_in_vain(self) -> Iterator[Happening]:
        """Announcements that came to nothing: about one a month of the later years."""
        first = self.opened + timedelta(days=round(_FIRST_ANNOUNCEMENTS_YEARS * 365.25))
        examined = {exam.dog for exam in self.club.exams}
        free = [
            dog
            for dog in self.club.dogs
            if dog.key not in examined and dog.key in self.registered and dog.died_on is None
        ]
        wanted = min(len(free) // 8, (self.last - first).days // 40)
        if wanted <= 0:
            return
        for place in self.rng.choice(len(free), size=wanted, replace=False):
            dog = free[int(place)]
            earliest = max(first, self.registered[dog.key] + timedelta(days=60))
            span = (self.last - timedelta(days=60) - earliest).days
            if span <= 0:
                continue
            day = working_day(earliest + timedelta(days=int(self.rng.integers(0, span))))
            yield Happening(self._at(day, 10, 12), "announce", dog.key)
            back = later(day, int(self.rng.integers(2, 25)))
            yield Happening(self._at(back, 13, 16), "withdraw_announcement", dog.key)

    def turns_of_the_year(self) -> Iterator[Happening]:
        """Each half-year the breeding values, each quarter a sealed log."""
        for year in range(self.opened.year, self.club.today.year + 1):
            for month in (1, 4, 7, 10):
                day = working_day(date(year, month, 2))
                if self.opened + timedelta(days=60) < day <= self.last:
                    if month in (1, 7):
                        yield Happening(datetime.combine(day, time(7, 0)), "half_year")
                    yield Happening(datetime.combine(day, time(7, 30)), "quarter")

    def _afterwards(self, exam: PlannedExam, at: int, decided: date) -> Iterator[Happening]:
        """What becomes of an accepted result: revoked, corrected, or shown and hidden again."""
        if exam.fate in ("revoked", "corrected"):
            # A slip of the hand is noticed soon, before another result takes the place.
            what: Kind = "revoke" if exam.fate == "revoked" else "replace"
            latest = 420 if what == "revoke" else 75
            day = working_day(decided + timedelta(days=int(self.rng.integers(10, latest))))
            # A wish needs a day on which another registrar confirms it.
            day = max(min(day, later(self.last, -4)), later(decided, 1))
            if day < self.last:
                yield Happening(self._at(day, 18, 20), what, exam.dog, at)
            return
        agrees, day = bool(exam.body["consent_to_publish"]), decided
        for chance in (0.05, 0.45) if agrees else (0.22, 0.1):
            if self.rng.random() >= chance:
                return
            day = day + timedelta(days=int(self.rng.integers(12, 700)))
            if day > self.last:
                return
            agrees = not agrees
            yield Happening(
                self._at(day, 20, 22), "release" if agrees else "withhold", exam.dog, at
            )

    def _needed(self) -> dict[int, date]:
        needed: dict[int, date] = {}
        for exam in self.club.exams:
            first = min(needed.get(exam.dog, exam.examined_on), exam.examined_on)
            needed[exam.dog] = first
        for dog in self.club.dogs:
            for parent in (dog.sire, dog.dam):
                if parent is not None:
                    needed[parent] = min(needed.get(parent, dog.born_on), dog.born_on)
        return needed

    def _in_time(self, dog: PlannedDog, day: date) -> date:
        """Before anybody needs the dog, never before its birth or the opening, never after
        yesterday."""
        latest = self.needed.get(dog.key, self.last) - timedelta(days=1)
        earliest = max(dog.born_on + timedelta(days=1), later(self.opened, 1))
        return max(min(day, later(latest, 0), self.last), earliest)

    def _after_parents(self, dog: PlannedDog) -> date:
        parents = (
            self.registered.get(parent) for parent in (dog.sire, dog.dam) if parent is not None
        )
        return max((day for day in parents if day is not None), default=date.min)

    def _sent_on(self, exam: PlannedExam) -> date:
        """A few days after the examination; what was planted to wait came in these last days."""
        if exam.fate == "waiting":
            # What looks at another result comes after it.
            late = 0 if exam.case else int(self.rng.choice(8, p=_WAITING))
            return max(later(self.last, -late), working_day(exam.examined_on))
        first = max(exam.examined_on, self.registered.get(exam.dog, exam.examined_on))
        return min(later(working_day(first), int(self.rng.choice(6, p=_SENDING))), self.last)

    def _decided_on(self, sent: date) -> date:
        """Some working days later: mostly three to six, at times after a holiday much later."""
        days = int(np.clip(round(float(np.exp(self.rng.normal(1.35, 0.5)))), 1, 22))
        return min(later(sent, days), self.last)

    def _announced_on(self, exam: PlannedExam) -> date | None:
        years = (exam.examined_on - self.opened).days / 365.25
        if exam.case or self.rng.random() >= 0.1 * (years - _FIRST_ANNOUNCEMENTS_YEARS):
            return None
        day = later(exam.examined_on, -int(self.rng.integers(1, 25)))
        return day if day > self.registered.get(exam.dog, self.last) else None

    def _at(self, day: date, first_hour: int, last_hour: int) -> datetime:
        minutes = int(self.rng.integers(0, (last_hour - first_hour) * 60))
        seconds = int(self.rng.integers(0, 60))
        start = datetime.combine(day, time(first_hour))
        return start + timedelta(minutes=minutes, seconds=seconds)


_SENDING = (0.3, 0.3, 0.2, 0.1, 0.06, 0.04)
_WAITING = (0.2, 0.2, 0.2, 0.15, 0.1, 0.06, 0.05, 0.04)
