"""Random walks of a clinic, an owner and registrars: nothing announced vanishes, no public value
changes without a note on its page, and no instant of the server is ever written anew.

A walk takes a dog through deeds drawn by Hypothesis; after every deed the public pages are read
again and compared with what they said before. 200 walks in every run, 10,000 in a soak.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from django.db.models import F, Model
from django.utils import timezone
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from registry.desk import decide, dogs, submit
from registry.desk import revoke as later
from registry.desk.announce import announce, withdraw_announcement
from registry.desk.announcement_agreement import check_announcements
from registry.desk.consent import change_consent
from registry.desk.errors import DeskError
from registry.models import Announcement, Certificate, Dog, Evaluation, Reading, State
from registry.queries.certificate_rows import certificate_rows
from registry.queries.public_dogs import public_dog
from registry.science.numbers import format_number
from registry.web.buyer.certificate_page import CertificatePage, certificate_page
from registry.web.buyer.dog_page import DogPage, dog_page
from tests.factories import Club, make_body, make_club, make_dog
from tests.reliability.numbers import counted, times
from tests.reliability.record import What

pytestmark = pytest.mark.django_db

WALKS = times(soak=10_000, short=200)
STEPS = times(soak=6, short=3)
# What is done before the first look, so that short walks come far as well.
_BEGINNINGS = (
    (),
    ("announce",),
    ("announce", "submit"),
    ("announce", "submit", "return"),
    ("announce", "submit", "accept"),
    ("announce", "submit", "accept", "correct readings"),
)
_TODAY = 3
_DEEDS = (
    "announce", "announce", "submit", "submit", "call off", "withdraw", "accept", "accept",
    "return", "resubmit", "decline", "revoke", "correct readings", "consent", "correct dog",
    "another clinic",
)  # fmt: skip


@dataclass
class Walk:
    """A dog on its way, with what was seen of it after the last deed."""

    club: Club
    dog: Dog
    values: dict[str, tuple[Any, ...]] = field(default_factory=dict)
    notes: dict[str, int] = field(default_factory=dict)
    instants: dict[tuple[str, int], datetime | None] = field(default_factory=dict)
    announced: set[str] = field(default_factory=set)
    taken: list[str] = field(default_factory=list)

    def begin(self, deeds: tuple[str, ...]) -> None:
        """Do what the walk begins with; all of it must be taken."""
        for deed in deeds:
            self._do(deed, _TODAY)
            self.taken.append(deed)
        self.look(is_resubmitted=False)

    def step(self, deed: str, number: int) -> None:
        """Try one deed; one that is refused changes nothing, and that is looked at as well."""
        try:
            with transaction.atomic():
                self._do(deed, number)
        except DeskError:
            pass
        else:
            self.taken.append(deed)
        self.look(is_resubmitted=deed == "resubmit")

    def _do(self, deed: str, number: int) -> None:
        club, nurse, registrar = self.club, self.club.nurse.actor, self.club.registrar.actor
        day = timezone.localdate() + timedelta(days=number % 21 - 3)
        body = make_body(
            self.dog,
            examined_on=min(day, timezone.localdate()).isoformat(),
            left=f"0.{20 + number}",
        )
        latest = Evaluation.objects.filter(dog=self.dog).order_by("-pk").first()
        evaluation_id = latest.public_id if latest else "none"
        open_one = Announcement.objects.filter(dog=self.dog).order_by("-pk").first()
        deeds: dict[str, Callable[[], object]] = {
            "announce": lambda: announce(by=nurse, dog_id=self.dog.public_id, examined_on=day),
            "another clinic": lambda: announce(
                by=club.other_nurse.actor, dog_id=self.dog.public_id, examined_on=day
            ),
            "call off": lambda: withdraw_announcement(
                by=nurse,
                announcement_id=open_one.public_id if open_one else "none",
                reason=f"reason {number}",
            ),
            "submit": lambda: submit.submit(by=nurse, body=body),
            "resubmit": lambda: submit.resubmit(by=nurse, evaluation_id=evaluation_id, body=body),
            "withdraw": lambda: submit.withdraw(
                by=nurse, evaluation_id=evaluation_id, reason="wrong"
            ),
            "accept": lambda: decide.accept(
                by=registrar, evaluation_id=evaluation_id, reason="seen"
            ),
            "return": lambda: decide.return_for_correction(
                by=registrar, evaluation_id=evaluation_id, reason="which side?", fields=["/dog"]
            ),
            "decline": lambda: decide.decline(
                by=registrar, evaluation_id=evaluation_id, reason="blurred"
            ),
            "revoke": lambda: [
                later.revoke(by=each.actor, evaluation_id=evaluation_id, reason=f"why {number}")
                for each in (club.registrar, club.second_registrar)
            ],
            "correct readings": lambda: later.replace(
                by=registrar,
                evaluation_id=evaluation_id,
                changes={"readings": body["readings"]},
                reason=f"put right {number}",
            ),
            "consent": lambda: change_consent(
                by=nurse, evaluation_id=evaluation_id, publish=bool(number % 2)
            ),
            "correct dog": lambda: self._correct_dog(f"colour {number}"),
        }
        deeds[deed]()

    def _correct_dog(self, colour: str) -> None:
        dog = self.dog
        dog.refresh_from_db()
        facts = dogs.DogFacts(
            breed=dog.breed.slug, name=dog.name, sex=dog.sex, born_on=dog.born_on,
            colour=dog.colour, chip=dog.chip or "",
        )  # fmt: skip
        dogs.correct_dog(
            by=self.club.registrar.actor,
            dog_id=dog.public_id,
            version=dog.version,
            facts=replace(facts, colour=colour),
            reason="seen at a show",
        )

    def look(self, *, is_resubmitted: bool) -> None:
        """Read the public pages and hold them against what they said before."""
        public = public_dog(self.dog.public_id)
        assert public is not None
        page = dog_page(public)
        self._look_at_announcements(page)
        self._noted("dog", _values_of_dog(page), len(page.events))
        for certificate in Certificate.objects.filter(evaluation__dog=self.dog):
            rows = certificate_rows(certificate.number, now=timezone.now())
            assert rows is not None
            told = certificate_page(rows, now=timezone.now())
            self._noted(certificate.number, _values_of(told), len(told.events))
        for key, at in _instants(self.dog):
            known = self.instants.setdefault(key, at)
            if key[0] == "submitted_at" and is_resubmitted and at is not None:
                # Sent again: the instant is a later one of the server, never an earlier.
                assert known is not None
                assert known <= at
                self.instants[key] = at
            elif known is None:
                self.instants[key] = at
            else:
                assert at == known, key

    def _look_at_announcements(self, page: DogPage) -> None:
        shown = {line.reference: line for line in page.announced}
        stored = Announcement.objects.filter(dog=self.dog).select_related("evaluation")
        self.announced |= {format_number(each.reference) for each in stored}
        assert self.announced <= set(shown)
        for each in stored:
            line = shown[format_number(each.reference)]
            if each.evaluation is not None:
                wanted = _STATE_OF[State(each.evaluation.state)]
            else:
                wanted = "called-off" if each.withdrawn_at else "announced"
            assert line.state == wanted
            assert line.reason == each.reason

    def _noted(self, key: str, values: tuple[Any, ...], notes: int) -> None:
        if key in self.values and self.values[key] != values:
            assert notes > self.notes[key], (self.values[key], values)
        self.values[key], self.notes[key] = values, notes


_STATE_OF = {
    State.SUBMITTED: "with-club",
    State.RETURNED: "with-club",
    State.ACCEPTED: "current",
    State.REPLACED: "current",
    State.REVOKED: "revoked",
    State.DECLINED: "not-accepted",
    State.WITHDRAWN: "called-off",
}


def _values_of(page: CertificatePage) -> tuple[Any, ...]:
    """What a certificate's page says of its result and of the dog; not the breed it is compared
    with, nor relatives, which change by deeds on others."""
    facts = [fact for fact in page.details if fact.term != "Announced"]
    return (page.verdict.kind, page.examined, page.facts, facts, bool(page.sections))


def _values_of_dog(page: DogPage) -> tuple[Any, ...]:
    return (page.facts, page.results)


def _instants(dog: Dog) -> Iterator[tuple[tuple[str, int], datetime | None]]:
    for announcement in Announcement.objects.filter(dog=dog):
        yield ("announced_at", announcement.pk), announcement.announced_at
        yield ("withdrawn_at", announcement.pk), announcement.withdrawn_at
    for evaluation in Evaluation.objects.filter(dog=dog):
        yield ("submitted_at", evaluation.pk), evaluation.submitted_at
        yield ("accepted_at", evaluation.pk), evaluation.accepted_at
    for certificate in Certificate.objects.filter(evaluation__dog=dog):
        yield ("issued_at", certificate.pk), certificate.issued_at


def test_nothing_announced_vanishes_and_no_public_value_changes_in_silence() -> None:
    club, taken = make_club(), Counter[str]()

    with counted(What.WALKS) as walks:

        @seed(20_261_125)
        @settings(
            max_examples=WALKS,
            database=None,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        )
        @given(
            st.sampled_from(_BEGINNINGS),
            st.lists(
                st.tuples(st.sampled_from(_DEEDS), st.integers(0, 79)),
                min_size=STEPS,
                max_size=STEPS,
            ),
        )
        def walk(beginning: tuple[str, ...], deeds: list[tuple[str, int]]) -> None:
            with transaction.atomic():
                way = Walk(club, make_dog(club))
                try:
                    way.begin(beginning)
                    for deed, number in deeds:
                        way.step(deed, number)
                except AssertionError as error:
                    error.add_note(f"after {way.taken}, of {deeds}")
                    raise
                assert list(check_announcements()) == []
                walks.done += 1
                taken.update(way.taken)
                transaction.set_rollback(True)

        walk()

    assert walks.done >= WALKS
    assert set(taken) == set(_DEEDS), "no walk came to one of the deeds"


def _moved_back(model: type[Model], column: str) -> Callable[[], object]:
    return lambda: model._default_manager.update(**{column: F(column) - timedelta(hours=1)})


@pytest.mark.parametrize(
    "edit",
    [
        pytest.param(lambda: Announcement.objects.all().delete(), id="an announcement removed"),
        pytest.param(
            lambda: Reading.objects.filter(side="left").update(step=1), id="a reading edited"
        ),
        pytest.param(lambda: Evaluation.objects.update(state=State.REVOKED), id="a result revoked"),
        pytest.param(lambda: Dog.objects.update(colour="white"), id="a dog's colour edited"),
        pytest.param(_moved_back(Announcement, "announced_at"), id="an announcement dated back"),
        pytest.param(_moved_back(Evaluation, "submitted_at"), id="a submission dated back"),
        pytest.param(_moved_back(Evaluation, "accepted_at"), id="an acceptance dated back"),
        pytest.param(_moved_back(Certificate, "issued_at"), id="a certificate dated back"),
    ],
)
def test_the_look_after_each_deed_sees_what_was_done_to_the_rows_alone(
    edit: Callable[[], object],
) -> None:
    club = make_club()
    way = Walk(club, make_dog(club))
    way.begin(("announce", "submit", "accept"))

    edit()

    with pytest.raises(AssertionError):
        way.look(is_resubmitted=False)
