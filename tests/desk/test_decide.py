"""A registrar decides: what is written, what is refused, and what the second one is told."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.core import mail

from registry.desk import decide, people, submit
from registry.desk.actor import Actor
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.desk.second_look import ask
from registry.models import (
    Certificate,
    DistributionCell,
    Evaluation,
    LedgerEntry,
    OutboxMail,
    Role,
    SecondDeed,
    SecondLook,
    State,
)
from registry.science.numbers import parse_number
from tests.factories import (
    Club,
    make_accepted,
    make_body,
    make_club,
    make_dog,
    make_person,
    make_submitted,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


class TestAccept:
    def test_it_writes_state_certificate_cells_and_entry_together(self, club: Club) -> None:
        evaluation = make_submitted(club, left="0.31", right="0.35")

        certificate = decide.accept(by=club.registrar.actor, evaluation_id=evaluation.public_id)

        assert isinstance(certificate, Certificate)
        evaluation.refresh_from_db()
        assert evaluation.state == State.ACCEPTED
        assert parse_number(certificate.number) == certificate.number
        assert list(DistributionCell.objects.values_list("step", "dogs")) == [(35, 1)]
        entry = LedgerEntry.objects.latest("seq")
        assert entry.action == "evaluation.accepted"
        assert certificate.number in entry.body

    def test_the_looser_hip_speaks(self, club: Club) -> None:
        certificate = make_accepted(club, left="0.62", right="0.35")

        assert certificate.standing["hip-laxity"]["step"] == 62

    def test_the_standing_as_issued_is_among_the_others(self, club: Club) -> None:
        for value in ("0.30", "0.40", "0.50"):
            make_accepted(club, left=value, right=value)

        last = make_accepted(club, left="0.40", right="0.40")

        place = last.standing["hip-laxity"]
        assert (place["better"], place["equal"], place["worse"], place["others"]) == (1, 1, 1, 3)

    def test_a_wish_about_values_since_corrected_is_void(self, club: Club) -> None:
        waits = make_submitted(club, make_dog(club, born_on=date(2026, 9, 1)))
        sent: dict[str, Any] = {"evaluation_id": waits.public_id}
        decide.accept(by=club.registrar.actor, reason="papers seen", **sent)
        decide.return_for_correction(by=club.second_registrar.actor, reason="check", **sent)
        body = make_body(waits.dog, left="0.20", right="0.22")
        submit.resubmit(by=club.nurse.actor, body=body, **sent)

        again = decide.accept(by=club.second_registrar.actor, reason="papers seen", **sent)

        assert isinstance(again, SecondLook)
        waits.refresh_from_db()
        assert waits.state == State.SUBMITTED
        done = decide.accept(by=club.registrar.actor, reason="papers seen", **sent)
        assert isinstance(done, Certificate)

    def test_two_who_wish_at_the_same_moment_are_told_how_to_go_on(self, club: Club) -> None:
        waits = make_submitted(club, make_dog(club, born_on=date(2026, 9, 1)))
        wish: dict[str, Any] = {
            "evaluation_id": waits.public_id,
            "deed": SecondDeed.ACCEPT,
            "reason": "seen",
        }
        ask(by=club.registrar.actor, **wish)

        with pytest.raises(Conflict, match="Do it again to confirm"):
            ask(by=club.second_registrar.actor, **wish)

    def test_a_stop_wants_a_reason(self, club: Club) -> None:
        puppy = make_dog(club, born_on=date(2026, 9, 1))
        evaluation = make_submitted(club, puppy)
        assert evaluation.flags.filter(code="too_young").exists()

        with pytest.raises(Invalid, match="Say why"):
            decide.accept(by=club.registrar.actor, evaluation_id=evaluation.public_id)

        evaluation.refresh_from_db()
        assert evaluation.state == State.SUBMITTED
        assert not Certificate.objects.exists()

    def test_the_second_registrar_is_told_who_did_what(self, club: Club) -> None:
        evaluation = make_submitted(club)
        decide.accept(by=club.registrar.actor, evaluation_id=evaluation.public_id)

        with pytest.raises(Conflict) as told:
            decide.decline(
                by=club.second_registrar.actor,
                evaluation_id=evaluation.public_id,
                reason="unreadable",
            )

        assert told.value.state == State.ACCEPTED
        assert told.value.who == str(club.registrar.user)
        assert str(club.registrar.user) in str(told.value)

    def test_it_refuses_another_role(self, club: Club) -> None:
        evaluation = make_submitted(club)

        for person in (club.nurse, club.secretary):
            with pytest.raises(Refused):
                decide.accept(by=person.actor, evaluation_id=evaluation.public_id)

    def test_a_missing_one_is_not_found(self, club: Club) -> None:
        with pytest.raises(NotFound):
            decide.accept(by=club.registrar.actor, evaluation_id="nothing")


class TestNeverTheirOwn:
    def test_not_what_they_submitted_themselves(self, club: Club) -> None:
        evaluation = make_submitted(club)
        also_registrar = people.appoint(
            by=club.secretary.actor, user_id=club.nurse.user.pk, role=Role.REGISTRAR
        )
        by = Actor(
            user_pk=club.nurse.user.pk,
            subject_id=club.nurse.user.subject_id,
            role=Role(also_registrar.role),
            via="web",
        )

        with pytest.raises(Refused, match="submitted this"):
            decide.accept(by=by, evaluation_id=evaluation.public_id)

        evaluation.refresh_from_db()
        assert (evaluation.state, evaluation.decided_by) == (State.SUBMITTED, None)

    def test_not_their_clinics(self, club: Club) -> None:
        evaluation = make_submitted(club)
        people.appoint(
            by=club.secretary.actor,
            user_id=club.registrar.user.pk,
            role=Role.CLINIC,
            clinic_id=club.clinic.public_id,
        )

        with pytest.raises(Refused, match="belong to the clinic"):
            decide.accept(by=club.registrar.actor, evaluation_id=evaluation.public_id)

    def test_not_their_own_dogs(self, club: Club) -> None:
        owner = {"full_name": "Somebody", "email": club.registrar.user.email.upper()}
        evaluation = make_submitted(club, owner=owner)

        with pytest.raises(Refused, match="your own dog"):
            decide.accept(by=club.registrar.actor, evaluation_id=evaluation.public_id)


class TestReturnAndDecline:
    @pytest.mark.parametrize("reason", ["", "   "])
    def test_they_want_a_reason(self, club: Club, reason: str) -> None:
        evaluation = make_submitted(club)

        with pytest.raises(Invalid, match="reason"):
            decide.return_for_correction(
                by=club.registrar.actor, evaluation_id=evaluation.public_id, reason=reason
            )
        with pytest.raises(Invalid, match="reason"):
            decide.decline(
                by=club.registrar.actor, evaluation_id=evaluation.public_id, reason=reason
            )

    def test_a_return_names_the_fields_to_fix(self, club: Club) -> None:
        evaluation = make_submitted(club)

        decide.return_for_correction(
            by=club.registrar.actor,
            evaluation_id=evaluation.public_id,
            reason="The left value does not fit the film.",
            fields=["/readings/0/value"],
        )

        evaluation.refresh_from_db()
        assert evaluation.state == State.RETURNED
        assert evaluation.fields_to_fix == ["/readings/0/value"]

    def test_the_reason_is_not_inside_the_hashed_body(self, club: Club) -> None:
        evaluation = make_submitted(club)

        decide.decline(
            by=club.registrar.actor,
            evaluation_id=evaluation.public_id,
            reason="Ask Olga Reedmoor for a better film.",
        )

        entry = LedgerEntry.objects.latest("seq")
        assert "Reedmoor" not in entry.body
        assert entry.texts.get().text == "Ask Olga Reedmoor for a better film."


class TestAcceptMany:
    def test_flagged_ones_are_left_and_named(self, club: Club) -> None:
        clean, flagged = make_submitted(club), make_submitted(club, left="0.31", right="0.95")
        assert flagged.flags.exists()

        outcomes = decide.accept_many(
            by=club.registrar.actor, evaluation_ids=[clean.public_id, flagged.public_id]
        )

        assert [bool(outcome.certificate) for outcome in outcomes] == [True, False]
        assert "flag" in outcomes[1].why_left
        flagged.refresh_from_db()
        assert flagged.state == State.SUBMITTED

    def test_none_chosen_is_an_error(self, club: Club) -> None:
        with pytest.raises(Invalid, match="at least one"):
            decide.accept_many(by=club.registrar.actor, evaluation_ids=[])

    def test_one_decided_meanwhile_does_not_stop_the_others(self, club: Club) -> None:
        first, second = make_submitted(club), make_submitted(club)
        decide.accept(by=club.second_registrar.actor, evaluation_id=first.public_id)

        outcomes = decide.accept_many(
            by=club.registrar.actor, evaluation_ids=[first.public_id, second.public_id]
        )

        assert "was first" in outcomes[0].why_left
        assert outcomes[1].certificate is not None


class TestMail:
    @pytest.mark.django_db(transaction=True)
    def test_clinic_and_owner_are_told_after_the_commit(self) -> None:
        club = make_club()
        mail.outbox.clear()

        certificate = make_accepted(club)

        subjects = sorted(message.to[0] for message in mail.outbox)
        assert subjects == sorted([club.clinic.email, "olga@owner.example"])
        owners = next(message for message in mail.outbox if "owner.example" in message.to[0])
        assert "/owner/" in owners.body
        assert certificate.number not in owners.body
        assert not OutboxMail.objects.filter(sent_at__isnull=True).exists()

    def test_nothing_goes_out_when_the_decision_fails(
        self, club: Club, django_capture_on_commit_callbacks: object
    ) -> None:
        evaluation = make_submitted(club)
        mail.outbox.clear()

        with pytest.raises(Refused):
            decide.accept(by=club.nurse.actor, evaluation_id=evaluation.public_id)

        assert mail.outbox == []
        assert not OutboxMail.objects.exists()


def test_a_registrar_who_joined_later_may_decide(club: Club) -> None:
    late = make_person(Role.REGISTRAR, by=club.secretary.actor)
    evaluation = make_submitted(club)

    decide.accept(by=late.actor, evaluation_id=evaluation.public_id)

    assert Evaluation.objects.get().decided_by == late.user
