"""Let the invented club's years pass: each dog, result and decision on its day, in one transaction.

One transaction, so that a run that is interrupted leaves nothing behind and a club that is there is
whole; and so that thousands of deeds do not each wait for the disk. The clock is moved from each
happening of ``history`` to the next, and each is a deed of the desk as a clinic, a registrar or an
owner would do it. What waits for somebody today is done in the computer's own time.
"""

from __future__ import annotations

import copy
import heapq
from collections.abc import Sequence
from datetime import datetime, time, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings
from django.db import transaction
from django.utils import timezone

from registry import clock
from registry.demo.history import Happening, history, later, opened_on
from registry.demo.people import Access, Login, Staff, issue_tokens, open_accounts
from registry.demo.pictures import Picture
from registry.demo.progress import Progress
from registry.demo.scales import choose_scales
from registry.demo.scenario import Club, PlannedDog, PlannedExam
from registry.demo.words import Words
from registry.desk import (
    announce,
    breeding,
    catalogue,
    consent,
    decide,
    dogs,
    drafts,
    evidence,
    log,
    revoke,
    submit,
)
from registry.desk.actor import Actor
from registry.desk.errors import Invalid
from registry.desk.shipped import install_traits
from registry.ledger.invented_time import InventedTime, invented_time
from registry.models import (
    Breed,
    Certificate,
    Dog,
    Evaluation,
    LedgerEntry,
    SecondLook,
    State,
    User,
)

_CHUNK_BYTES = 65_536


def is_there(words: Words) -> bool:
    """Whether this database holds the invented club."""
    first = words.people[0]
    slugs = [breed.slug for breed in words.breeds]
    return User.objects.filter(
        username=first.login, full_name=first.full_name
    ).exists() and Breed.objects.filter(slug__in=slugs).count() == len(slugs)


def is_untouched() -> bool:
    """Whether nobody has begun to use this database: no account, breed, dog or entry."""
    return not any(kind.objects.exists() for kind in (User, Breed, Dog, LedgerEntry))


def load(club: Club, progress: Progress) -> Access:
    """Write the whole club, or nothing. Returns who can sign in."""
    loader = _Loader(club, progress)
    try:
        with transaction.atomic():
            return loader.everything()
    except BaseException:
        # The rows are gone with the transaction; the files would stay without a row.
        for path in loader.files:
            path.unlink(missing_ok=True)
        raise


class _Loader:
    """What is known while the club is being written."""

    def __init__(self, club: Club, progress: Progress) -> None:
        self.club = club
        self.words = club.words
        self.progress = progress
        self.files: list[Path] = []
        self.dog_ids: dict[int, str] = {}
        self.evaluations: dict[int, str] = {}
        self.announcements: dict[int, str] = {}
        self.wished: dict[int, Actor] = {}
        self.staff: Staff
        self.decisions = self.withdrawals = 0
        # What is still to happen: the plan, and what follows from it on the way.
        self.ahead: list[tuple[datetime, int, Happening]] = []
        self.turns = count()

    def everything(self) -> Access:
        """The years, and then what today leaves to be done."""
        start = datetime.combine(opened_on(self.club), time(9, 0))
        with invented_time(_aware(start)) as clock_of_the_years:
            logins = self._open_club()
            self._live(clock_of_the_years)
        self._begin_drafts()
        self._announce_others()
        tokens = issue_tokens(self.words, self.staff.secretary)
        return Access(settings.SITE_URL, tuple(logins), tuple(tokens))

    def _open_club(self) -> list[Login]:
        self.staff, logins = open_accounts(self.words)
        install_traits(by=Actor.system())
        choose_scales(by=self.staff.secretary)
        for breed in self.words.breeds:
            catalogue.add_breed(by=self.staff.secretary, name=breed.name)
        return logins

    def _live(self, moved: InventedTime) -> None:
        """Let everything happen in its order, each at its moment."""
        for each in history(self.club, np.random.default_rng([self.words.seed, 2])):
            self._plan(each)
        years = range(self.ahead[0][0].year, self.club.today.year + 1)
        for year in self.progress.over(years, "years lived through"):
            while self.ahead and self.ahead[0][0].year == year:
                at, _turn, happening = heapq.heappop(self.ahead)
                # A deed takes a moment, so the next one may be due already.
                moved.move_to(max(_aware(at), clock.now()))
                self._let_happen(happening)

    def _plan(self, happening: Happening) -> None:
        heapq.heappush(self.ahead, (happening.at, next(self.turns), happening))

    def _let_happen(self, it: Happening) -> None:
        """Do what it says, as the one who does such a thing."""
        exam = self.club.exams[it.exam] if it.exam >= 0 else None
        if it.what == "half_year":
            self._breeding_values()
        elif it.what == "quarter":
            log.publish_checkpoint()
        elif it.what == "register":
            self._register(self.club.dogs[it.dog], self.staff.secretary)
        elif it.what == "died":
            self._note_death(self.club.dogs[it.dog])
        elif it.what == "announce":
            self._announce(it, exam)
        elif it.what == "withdraw_announcement":
            self._withdraw_announcement(it)
        elif exam is None:
            raise ValueError(f"{it.what} is about an examination")
        elif it.what == "send":
            self.evaluations[it.exam] = self._send(exam).public_id
        elif it.what in ("accept", "return", "decline", "revoke", "replace"):
            self._decide(it, exam)
        else:
            self._change_mind(it, exam)

    def _register(self, dog: PlannedDog, by: Actor) -> None:
        facts = dogs.DogFacts(
            breed=dog.breed.slug,
            name=dog.name,
            sex=dog.sex,
            born_on=dog.born_on,
            call_name=dog.call_name,
            colour=dog.colour,
            chip=dog.chip,
            studbook_number=dog.studbook_number,
            sire=self.dog_ids[dog.sire] if dog.sire is not None else "",
            dam=self.dog_ids[dog.dam] if dog.dam is not None else "",
            died_on=dog.died_on if dog.died_on and dog.died_on <= clock.today() else None,
        )
        self.dog_ids[dog.key] = dogs.register_dog(by=by, facts=facts).public_id

    def _note_death(self, dog: PlannedDog) -> None:
        row = Dog.objects.select_related("breed", "sire", "dam").get(
            public_id=self.dog_ids[dog.key]
        )
        facts = dogs.DogFacts(
            breed=row.breed.slug,
            name=row.name,
            sex=row.sex,
            born_on=row.born_on,
            call_name=row.call_name,
            colour=row.colour,
            chip=row.chip or "",
            studbook_number=row.studbook_number,
            sire=row.sire.public_id if row.sire else "",
            dam=row.dam.public_id if row.dam else "",
            died_on=dog.died_on,
        )
        reason = self.words.reasons["died"]
        dogs.correct_dog(
            by=self.staff.secretary,
            dog_id=row.public_id,
            version=row.version,
            facts=facts,
            reason=reason,
        )

    def _breeding_values(self) -> None:
        for breed in self.words.breeds:
            if Dog.objects.filter(breed__slug=breed.slug).exists():
                breeding.compute_now(by=Actor.system(), breed_slug=breed.slug)

    def _announce(self, it: Happening, exam: PlannedExam | None) -> None:
        """Announce the examination, or one that never takes place."""
        if exam is None:
            clinics = sorted(self.staff.clinics)
            by = self.staff.clinics[clinics[it.dog % len(clinics)]]
            day = clock.today() + timedelta(days=14)
        else:
            by, day = self.staff.clinics[exam.clinic], exam.examined_on
        made = announce.announce(by=by, dog_id=self.dog_ids[it.dog], examined_on=day)
        if exam is None:
            self.announcements[it.dog] = made.public_id

    def _withdraw_announcement(self, it: Happening) -> None:
        clinics = sorted(self.staff.clinics)
        told = self.words.reasons["announcement_withdrawn"]
        self.withdrawals += 1
        announce.withdraw_announcement(
            by=self.staff.clinics[clinics[it.dog % len(clinics)]],
            announcement_id=self.announcements[it.dog],
            reason=told[self.withdrawals % len(told)],
        )

    def _send(self, exam: PlannedExam) -> Evaluation:
        by = self.staff.clinics[exam.clinic]
        if exam.dog not in self.dog_ids:
            # A dog that nobody registered: the clinic adds it with its result.
            self._register(self.club.dogs[exam.dog], by)
        return submit.submit(by=by, body=self._body(exam, by))

    def _body(self, exam: PlannedExam, by: Actor) -> dict[str, Any]:
        return {
            **exam.body,
            "dog": {"id": self.dog_ids[exam.dog]},
            "evidence": [self._attach(picture, by) for picture in exam.pictures],
        }

    def _attach(self, picture: Picture, by: Actor) -> str:
        stored = evidence.attach(by=by, chunks=_chunks(picture.content()), name=picture.name)
        self.files.append(evidence.stored_path(stored))
        return stored.public_id

    def _decide(self, it: Happening, exam: PlannedExam) -> None:
        """A registrar's deed; what takes two is done once the second one has confirmed it."""
        registrar = self._whose_turn(it.exam)
        sent: dict[str, Any] = {"by": registrar, "evaluation_id": self.evaluations[it.exam]}
        done: object = None
        if it.what == "return":
            decide.return_for_correction(reason=exam.reason, fields=exam.fields, **sent)
        elif it.what == "decline":
            decide.decline(reason=exam.reason, **sent)
        elif it.what == "accept":
            done = self._accept(sent)
        elif it.what == "revoke":
            done = revoke.revoke(reason=exam.reason, **sent)
        elif self._is_accepted(it.exam):
            changes = {"readings": _exchanged(exam.body["readings"])}
            revoke.replace(changes=changes, reason=exam.reason, **sent)
        self.wished.pop(it.exam, None)
        if isinstance(done, SecondLook):
            self.wished[it.exam] = registrar
            day = later(it.at.date(), 1)
            # A wish of yesterday still waits for another registrar.
            if day < self.club.today:
                self._plan(Happening(datetime.combine(day, it.at.time()), it.what, it.dog, it.exam))

    def _is_accepted(self, exam: int) -> bool:
        """Whether no newer result has taken the place meanwhile: then nobody corrects the old."""
        rows = Evaluation.objects.filter(public_id=self.evaluations[exam])
        return rows.filter(state=State.ACCEPTED).exists()

    def _whose_turn(self, exam: int) -> Actor:
        """The registrars take turns; a wish is confirmed by another one than wished it."""
        self.decisions += 1
        registrars = self.staff.registrars
        registrar = registrars[self.decisions % len(registrars)]
        if registrar == self.wished.get(exam):
            self.decisions += 1
        return registrars[self.decisions % len(registrars)]

    def _accept(self, sent: dict[str, Any]) -> Certificate | SecondLook:
        try:
            return decide.accept(**sent)
        except Invalid:
            # A check says stop: that wants a reason, and another registrar.
            return decide.accept(reason=self.words.reasons["passed_stop"], **sent)

    def _change_mind(self, it: Happening, exam: PlannedExam) -> None:
        """What clinic or owner do with a result that is there."""
        evaluation_id = self.evaluations[it.exam]
        by = self.staff.clinics[exam.clinic]
        if it.what == "withdraw":
            submit.withdraw(by=by, evaluation_id=evaluation_id, reason=exam.reason)
        elif it.what == "send_again":
            body = {**exam.body, "dog": {"id": self.dog_ids[exam.dog]}}
            submit.resubmit(by=by, evaluation_id=evaluation_id, body=body)
        else:
            consent.change_consent(
                by=Actor.system(via="web"),
                evaluation_id=evaluation_id,
                publish=it.what == "release",
            )

    def _announce_others(self) -> None:
        """Leave two examinations announced and open, and a third one that is withdrawn."""
        clinics = sorted(self.staff.clinics)
        # The last ones of these have drafts.
        dogs_left = self._untested()[-5:-2]
        for place, dog in enumerate(dogs_left):
            by = self.staff.clinics[clinics[place % len(clinics)]]
            day = timezone.localdate() + timedelta(days=6 * (place + 1))
            made = announce.announce(by=by, dog_id=self.dog_ids[dog.key], examined_on=day)
            if place == 2:
                announce.withdraw_announcement(
                    by=by,
                    announcement_id=made.public_id,
                    reason="The dog is in heat. It will be examined in the spring.",
                )

    def _untested(self) -> list[PlannedDog]:
        examined = {exam.dog for exam in self.club.exams}
        return [dog for dog in self.club.dogs if dog.key not in examined and not dog.died_on]

    def _begin_drafts(self) -> None:
        """Leave two drafts half written, so that there is something to come back to."""
        left = self._untested()
        waiting = [exam for exam in self.club.exams if exam.fate == "waiting" and not exam.case]
        for exam, dog in zip(waiting, reversed(left), strict=False):
            by = self.staff.clinics[exam.clinic]
            draft = drafts.start_draft(by=by, dog_id=self.dog_ids[dog.key])
            answers = {
                **draft.answers,
                "examined_on": self.club.today.isoformat(),
                "examiner": exam.body["examiner"],
            }
            drafts.save_draft(
                by=by, draft_id=draft.public_id, version=draft.version, answers=answers
            )
            if waiting.index(exam) == 1:
                break


def _aware(at: datetime) -> datetime:
    """The moment on the club's calendar and clock."""
    return at.replace(tzinfo=timezone.get_current_timezone())


def _exchanged(readings: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The same readings with left and right exchanged."""
    other = {"left": "right", "right": "left"}
    turned = copy.deepcopy(list(readings))
    for reading in turned:
        reading["side"] = other[reading["side"]]
    return turned


def _chunks(content: bytes) -> list[bytes]:
    return [content[at : at + _CHUNK_BYTES] for at in range(0, len(content), _CHUNK_BYTES)]
