"""Later, with a reason: what a revocation and a replacement leave, and what is refused."""

from __future__ import annotations

import json
from typing import Any

import pytest

from registry.desk.actor import actor_for
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.desk.people import appoint
from registry.desk.revoke import replace, revoke
from registry.desk.second_look import drop
from registry.models import (
    Certificate,
    DistributionCell,
    Evaluation,
    LedgerEntry,
    LedgerText,
    OutboxMail,
    Role,
    SecondLook,
    State,
)
from tests.factories import (
    Club,
    make_accepted,
    make_club,
    make_dog,
    make_person,
    make_revoked,
    make_submitted,
)

pytestmark = pytest.mark.django_db

CORRECTED = {
    "readings": [
        {"trait": "hip-laxity", "side": "left", "value": "0.44"},
        {"trait": "hip-laxity", "side": "right", "value": "0.35"},
    ]
}


@pytest.fixture
def club() -> Club:
    return make_club()


def revoked(club: Club, evaluation: Evaluation, reason: str = "films of another dog") -> Evaluation:
    return make_revoked(club, evaluation.public_id, reason=reason)


def replaced(
    club: Club, evaluation: Evaluation, changes: dict[str, Any] | None = None, reason: str = "slip"
) -> Certificate:
    return replace(
        by=club.registrar.actor,
        evaluation_id=evaluation.public_id,
        changes=CORRECTED if changes is None else changes,
        reason=reason,
    )


class TestRevoke:
    def test_it_stops_counting_and_keeps_its_certificate(self, club: Club) -> None:
        certificate = make_accepted(club)

        evaluation = revoked(club, certificate.evaluation)

        assert (evaluation.state, evaluation.reason) == (State.REVOKED, "films of another dog")
        assert not DistributionCell.objects.exists()
        assert Certificate.objects.get() == certificate
        assert Certificate.objects.get().standing == certificate.standing

    def test_its_entry_says_from_what_and_why(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation

        revoked(club, evaluation)

        entry = LedgerEntry.objects.latest("seq")
        assert entry.action == "evaluation.revoked"
        assert json.loads(entry.body)["values"] == {
            "state": {"from": "accepted", "to": "revoked"},
            "wished_by": {"from": None, "to": club.registrar.user.subject_id},
        }
        assert LedgerText.objects.get(entry=entry).text == "films of another dog"

    def test_clinic_and_owner_are_written_to(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation
        OutboxMail.objects.all().delete()

        revoked(club, evaluation)

        assert set(OutboxMail.objects.values_list("kind", "to_email")) == {
            ("revoked", club.clinic.email),
            ("owner-result", "olga@owner.example"),
        }

    def test_one_registrar_alone_changes_nothing(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation

        look = revoke(by=club.registrar.actor, evaluation_id=evaluation.public_id, reason="wrong")

        assert isinstance(look, SecondLook)
        evaluation.refresh_from_db()
        assert evaluation.state == State.ACCEPTED
        assert DistributionCell.objects.get().dogs == 1
        entry = LedgerEntry.objects.latest("seq")
        assert entry.action == "evaluation.second-look"
        assert LedgerText.objects.get(entry=entry).text == "wrong"

    def test_the_same_registrar_twice_is_still_one(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation
        wish = {"evaluation_id": evaluation.public_id, "reason": "wrong"}
        revoke(by=club.registrar.actor, **wish)

        with pytest.raises(Conflict, match="Another registrar has to confirm"):
            revoke(by=club.registrar.actor, **wish)

        evaluation.refresh_from_db()
        assert evaluation.state == State.ACCEPTED

    def test_what_another_dropped_has_to_be_wished_anew(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation
        wish = {"evaluation_id": evaluation.public_id, "reason": "wrong"}
        look = revoke(by=club.registrar.actor, **wish)
        assert isinstance(look, SecondLook)

        drop(by=club.second_registrar.actor, look_id=look.public_id, reason="the film is right")
        again = revoke(by=club.second_registrar.actor, **wish)

        assert isinstance(again, SecondLook)
        evaluation.refresh_from_db()
        assert evaluation.state == State.ACCEPTED

    def test_dropping_wants_a_reason_and_happens_once(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation
        look = revoke(by=club.registrar.actor, evaluation_id=evaluation.public_id, reason="wrong")
        assert isinstance(look, SecondLook)

        with pytest.raises(Invalid, match="left as it is"):
            drop(by=club.second_registrar.actor, look_id=look.public_id, reason=" ")
        drop(by=club.second_registrar.actor, look_id=look.public_id, reason="right")
        with pytest.raises(Conflict):
            drop(by=club.registrar.actor, look_id=look.public_id, reason="right")
        with pytest.raises(Refused):
            drop(by=club.nurse.actor, look_id=look.public_id, reason="right")

    def test_a_second_revocation_is_told_of_the_first(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation
        revoked(club, evaluation)

        with pytest.raises(Conflict) as told:
            revoke(
                by=club.second_registrar.actor, evaluation_id=evaluation.public_id, reason="again"
            )

        assert told.value.state == State.REVOKED
        assert told.value.who == str(club.second_registrar.user)

    def test_one_that_waits_cannot_be_revoked(self, club: Club) -> None:
        with pytest.raises(Conflict, match="submitted"):
            revoked(club, make_submitted(club))

    @pytest.mark.parametrize(
        ("reason", "words"),
        [("", "Give the reason"), (" \n", "Give the reason"), ("x" * 4001, "Shorten")],
    )
    def test_it_wants_a_reason_of_fair_length(self, club: Club, reason: str, words: str) -> None:
        evaluation = make_accepted(club).evaluation

        with pytest.raises(Invalid, match=words) as refused:
            revoked(club, evaluation, reason)

        assert refused.value.problems[0].pointer == "/reason"
        evaluation.refresh_from_db()
        assert evaluation.state == State.ACCEPTED

    def test_only_a_registrar_revokes(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation

        for person in (club.nurse, club.secretary):
            with pytest.raises(Refused):
                revoke(by=person.actor, evaluation_id=evaluation.public_id, reason="wrong")

    def test_a_registrar_of_the_clinic_leaves_it_to_another(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation
        both = make_person(Role.REGISTRAR, by=club.secretary.actor)
        appoint(
            by=club.secretary.actor,
            user_id=both.user.pk,
            role=Role.CLINIC,
            clinic_id=club.clinic.public_id,
        )

        with pytest.raises(Refused, match="You belong to the clinic"):
            revoke(
                by=actor_for(both.membership, via="web"),
                evaluation_id=evaluation.public_id,
                reason="wrong",
            )

        evaluation.refresh_from_db()
        assert evaluation.state == State.ACCEPTED

    def test_a_missing_one_is_not_found(self, club: Club) -> None:
        with pytest.raises(NotFound):
            revoke(by=club.registrar.actor, evaluation_id="nothing", reason="wrong")


class TestReplace:
    def test_the_correction_counts_and_has_its_own_certificate(self, club: Club) -> None:
        old = make_accepted(club)

        new = replaced(club, old.evaluation)

        old.evaluation.refresh_from_db()
        assert old.evaluation.state == State.REPLACED
        assert new.evaluation.state == State.ACCEPTED
        assert new.evaluation.corrects == old.evaluation
        assert new.number != old.number
        assert new.evaluation.reference != old.evaluation.reference
        assert list(DistributionCell.objects.values_list("step", "dogs")) == [(44, 1)]

    def test_what_was_sent_by_whom_stays(self, club: Club) -> None:
        old = make_accepted(club).evaluation

        new = replaced(club, old).evaluation

        for name in ("dog", "clinic", "owner", "submitted_by", "submitted_at", "examined_on"):
            assert getattr(new, name) == getattr(old, name)
        assert new.decided_by_id == club.registrar.user.pk

    def test_its_entry_names_the_fields_that_changed(self, club: Club) -> None:
        old = make_accepted(club).evaluation

        new = replaced(club, old)

        values = json.loads(LedgerEntry.objects.latest("seq").body)["values"]
        assert values["readings.hip-laxity.left"] == {"from": "0.31", "to": "0.44"}
        assert "readings.hip-laxity.right" not in values
        assert values["certificate"] == {"from": None, "to": new.number}
        assert values["replaced_by"] == {"from": None, "to": new.evaluation.public_id}

    def test_a_second_replacement_is_a_conflict(self, club: Club) -> None:
        old = make_accepted(club).evaluation
        replaced(club, old)

        with pytest.raises(Conflict):
            replaced(club, old)

        assert Evaluation.objects.count() == 2

    @pytest.mark.parametrize("name", ["dog", "owner", "consent_to_publish", "evidence", "state"])
    def test_nothing_but_the_examination_can_be_replaced(self, club: Club, name: str) -> None:
        old = make_accepted(club).evaluation

        with pytest.raises(Invalid, match="Only readings, day, examiner and conditions"):
            replaced(club, old, {name: None})

        old.refresh_from_db()
        assert old.state == State.ACCEPTED

    def test_bad_answers_leave_everything_as_it_was(self, club: Club) -> None:
        old = make_accepted(club).evaluation

        with pytest.raises(Invalid, match="at least one reading"):
            replaced(club, old, {"readings": []})

        old.refresh_from_db()
        assert (old.state, old.reason) == (State.ACCEPTED, "")
        assert Evaluation.objects.count() == 1

    @pytest.mark.parametrize(
        ("day", "said"),
        [("2023-02-01", "the dog was 17 days old"), ("2020-02-01", "before the dog's birth")],
    )
    def test_one_registrar_cannot_go_past_a_stop(self, club: Club, day: str, said: str) -> None:
        old = make_accepted(club).evaluation

        with pytest.raises(Invalid, match=said) as caught:
            replaced(club, old, {"examined_on": day})

        assert "revoke this result" in str(caught.value)
        old.refresh_from_db()
        assert (old.state, Evaluation.objects.count()) == (State.ACCEPTED, 1)

    def test_nor_take_another_dogs_chip_alone(self, club: Club) -> None:
        old, other = make_accepted(club).evaluation, make_dog(club)
        read = {"restraint": "sedation", "chip_read": True, "chip_as_read": other.chip}

        with pytest.raises(Invalid, match="is another dog's"):
            replaced(club, old, {"conditions": read})

    def test_a_stop_that_two_have_gone_past_hinders_no_correction(self, club: Club) -> None:
        old = make_accepted(club, examined_on="2023-02-01").evaluation

        new = replaced(club, old).evaluation

        assert new.state == State.ACCEPTED
        assert new.flags.filter(code="too_young").exists()

    def test_it_wants_a_reason(self, club: Club) -> None:
        with pytest.raises(Invalid, match="Give the reason"):
            replaced(club, make_accepted(club).evaluation, reason=" ")
