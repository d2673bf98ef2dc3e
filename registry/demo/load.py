"""Hand the invented club to the desk: every dog, result and decision, in one transaction.

One transaction, so that a run that is interrupted leaves nothing behind and a club that is there is
whole; and so that thousands of deeds do not each wait for the disk. Times in the ledger are the
server's own, as for an import of old results: only the days of examination lie in the past.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from registry.demo.people import (
    Access,
    Login,
    Staff,
    give_mail_addresses,
    issue_tokens,
    open_accounts,
)
from registry.demo.pictures import Picture
from registry.demo.progress import Progress
from registry.demo.scales import choose_scales
from registry.demo.scenario import Club, PlannedDog, PlannedExam
from registry.demo.words import Words
from registry.desk import announce, catalogue, decide, dogs, drafts, evidence, revoke, submit
from registry.desk.actor import Actor
from registry.desk.shipped import install_traits
from registry.models import Breed, Dog, Evaluation, User

_CHUNK_BYTES = 65_536
# So many results of the latest days were announced.
_ANNOUNCED = 4


def is_there(words: Words) -> bool:
    """Whether this database holds the invented club."""
    first = words.people[0]
    slugs = [breed.slug for breed in words.breeds]
    return User.objects.filter(
        username=first.login, full_name=first.full_name
    ).exists() and Breed.objects.filter(slug__in=slugs).count() == len(slugs)


def is_untouched() -> bool:
    """Whether nobody has begun to use this database: no account, breed or dog."""
    return not (User.objects.exists() or Breed.objects.exists() or Dog.objects.exists())


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
        self.staff: Staff
        self.decisions = 0
        self.announced = 0

    def everything(self) -> Access:
        """All stages in their order."""
        logins = self._open_club()
        later = [exam for exam in self.club.exams if exam.fate not in ("accepted", "revoked")]
        past = [exam for exam in self.club.exams if exam.fate in ("accepted", "revoked")]
        new_dogs = {exam.dog for exam in self.club.exams if exam.case == "dog_unconfirmed"}

        known = [dog for dog in self.club.dogs if dog.key not in new_dogs]
        for dog in self.progress.over(known, "dogs registered"):
            self._register(dog, self.staff.secretary)
        for exam in self.progress.over(past, "results sent in and accepted"):
            self._settle(exam, self._send(exam))
        give_mail_addresses(self.words, self.staff.secretary)
        for exam in self.progress.over(later, "further results sent in, some decided"):
            if exam.dog in new_dogs:
                self._register(self.club.dogs[exam.dog], self.staff.clinics[exam.clinic])
            self._announce_first(exam)
            self._settle(exam, self._send(exam))
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
            died_on=dog.died_on,
        )
        self.dog_ids[dog.key] = dogs.register_dog(by=by, facts=facts).public_id

    def _send(self, exam: PlannedExam) -> Evaluation:
        by = self.staff.clinics[exam.clinic]
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

    def _settle(self, exam: PlannedExam, evaluation: Evaluation) -> None:
        """Do with the sent result what the scenario says became of it."""
        if exam.fate == "waiting":
            return
        self.decisions += 1
        registrar = self.staff.registrars[self.decisions % len(self.staff.registrars)]
        sent: dict[str, Any] = {"evaluation_id": evaluation.public_id}
        if exam.fate == "withdrawn":
            submit.withdraw(by=self.staff.clinics[exam.clinic], reason=exam.reason, **sent)
        elif exam.fate == "returned":
            decide.return_for_correction(
                by=registrar, reason=exam.reason, fields=exam.fields, **sent
            )
        elif exam.fate == "declined":
            decide.decline(by=registrar, reason=exam.reason, **sent)
        else:
            decide.accept(by=registrar, **sent)
            if exam.fate == "revoked":
                for person in self.staff.registrars[:2]:
                    revoke.revoke(by=person, reason=exam.reason, **sent)
            elif exam.fate == "corrected":
                changes = {"readings": _exchanged(exam.body["readings"])}
                revoke.replace(by=registrar, changes=changes, reason=exam.reason, **sent)

    def _announce_first(self, exam: PlannedExam) -> None:
        """Announce a few of the latest examinations: late, since their days have passed."""
        today = timezone.localdate()
        day = max(exam.examined_on, today - announce.MOST_LATE)
        is_near = day - announce.NEAR <= exam.examined_on <= today
        is_second = exam.case == "possible_duplicate"
        if is_second or not is_near or self.announced == _ANNOUNCED:
            return
        self.announced += 1
        announce.announce(
            by=self.staff.clinics[exam.clinic],
            dog_id=self.dog_ids[exam.dog],
            examined_on=day,
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


def _exchanged(readings: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The same readings with left and right exchanged."""
    other = {"left": "right", "right": "left"}
    turned = copy.deepcopy(list(readings))
    for reading in turned:
        reading["side"] = other[reading["side"]]
    return turned


def _chunks(content: bytes) -> list[bytes]:
    return [content[at : at + _CHUNK_BYTES] for at in range(0, len(content), _CHUNK_BYTES)]
