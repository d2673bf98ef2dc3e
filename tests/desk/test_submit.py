"""A clinic sends a result, answers a returned one, takes one back; and what is refused."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import pytest
from django.utils import timezone

from registry.desk import decide, people
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.desk.submit import resubmit, submit, withdraw
from registry.models import Evaluation, LedgerEntry, LedgerText, Owner, Reading, State
from registry.science.numbers import parse_number
from tests.factories import (
    Club,
    make_accepted,
    make_body,
    make_club,
    make_dog,
    make_submitted,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def returned(club: Club, **members: Any) -> Evaluation:
    return decide.return_for_correction(
        by=club.registrar.actor,
        evaluation_id=make_submitted(club, **members).public_id,
        reason="Which side is left?",
        fields=["/readings/0"],
    )


def flags_of(evaluation: Evaluation) -> dict[str, str]:
    return dict(evaluation.flags.values_list("code", "level"))


class TestSubmit:
    def test_it_keeps_what_was_sent_under_a_reference(self, club: Club) -> None:
        dog = make_dog(club)

        evaluation = submit(by=club.nurse.actor, body=make_body(dog, left="0.31", right="0.35"))

        assert parse_number(evaluation.reference) == evaluation.reference
        assert evaluation.state == State.SUBMITTED
        assert (evaluation.dog, evaluation.clinic) == (dog, club.clinic)
        assert evaluation.submitted_by == club.nurse.user
        assert evaluation.examined_on == date(2026, 10, 2)
        steps = dict(evaluation.readings.values_list("side", "step"))
        assert steps == {"left": 31, "right": 35}

    def test_its_entry_holds_every_value_and_no_name(self, club: Club) -> None:
        evaluation = make_submitted(club)

        entry = LedgerEntry.objects.latest("seq")
        body = json.loads(entry.body)
        assert entry.action == "evaluation.submitted"
        assert entry.subject == f"evaluation:{evaluation.public_id}"
        assert body["values"]["readings.hip-laxity.left"] == {"from": None, "to": "0.31"}
        assert body["values"]["conditions.weight_kg"] == {"from": None, "to": "18.5"}
        assert body["who"]["clinic"] == club.clinic.public_id
        for name in ("Oakhollow", "Reedmoor", "olga@"):
            assert name not in entry.body
        assert LedgerText.objects.get(entry=entry, field="examiner.to").text == evaluation.examiner

    def test_the_dog_may_be_named_by_its_chip(self, club: Club) -> None:
        dog = make_dog(club, chip="276098106234567")

        evaluation = submit(
            by=club.nurse.actor, body=make_body(dog) | {"dog": {"chip": "276-0981-0623-4567"}}
        )

        assert evaluation.dog == dog

    def test_a_known_owner_is_not_written_twice(self, club: Club) -> None:
        make_submitted(club)
        make_submitted(club, owner={"full_name": "Olga Reedmoor", "email": "OLGA@owner.example"})

        assert Owner.objects.count() == 1

    def test_two_owners_of_one_name_without_an_address_stay_two(self, club: Club) -> None:
        make_submitted(club, owner={"full_name": "Olga Reedmoor"})
        make_submitted(club, owner={"full_name": "Olga Reedmoor"})

        assert Owner.objects.count() == 2

    @pytest.mark.parametrize(
        ("dog", "pointer", "words"),
        [
            ({"chip": "276098106234567"}, "/dog/chip", "No dog has the chip 276098106234567"),
            ({"chip": "12345"}, "/dog/chip", "15 digits"),
            ({"id": "nobody"}, "/dog/id", "no dog with this id"),
        ],
    )
    def test_an_unknown_dog_is_refused(
        self, club: Club, dog: dict[str, str], pointer: str, words: str
    ) -> None:
        with pytest.raises(Invalid, match=words) as refused:
            submit(by=club.nurse.actor, body=make_body(make_dog(club)) | {"dog": dog})

        assert [problem.pointer for problem in refused.value.problems] == [pointer]

    def test_a_refused_one_leaves_nothing(self, club: Club) -> None:
        dog = make_dog(club)
        entries = LedgerEntry.objects.count()

        with pytest.raises(Invalid, match="no such file"):
            submit(by=club.nurse.actor, body=make_body(dog, evidence=["unknown"]))

        assert not Evaluation.objects.exists()
        assert not Reading.objects.exists()
        assert not Owner.objects.exists()
        assert LedgerEntry.objects.count() == entries

    def test_only_a_clinic_sends(self, club: Club) -> None:
        body = make_body(make_dog(club))

        for person in (club.registrar, club.secretary):
            with pytest.raises(Refused, match="clinic staff"):
                submit(by=person.actor, body=body)

    def test_a_clinic_that_may_not_submit_is_told_whom_to_ask(self, club: Club) -> None:
        people.change_clinic(
            by=club.secretary.actor,
            clinic_id=club.clinic.public_id,
            name=club.clinic.name,
            town="",
            email="",
            is_active=False,
        )

        with pytest.raises(Invalid, match="Ask the secretary"):
            make_submitted(club)


class TestFlags:
    def test_an_unremarkable_result_has_none(self, club: Club) -> None:
        assert flags_of(make_submitted(club)) == {}

    def test_an_examination_in_the_future_is_stopped(self, club: Club) -> None:
        tomorrow = timezone.localdate() + timedelta(days=1)

        evaluation = make_submitted(club, examined_on=tomorrow.isoformat())

        assert flags_of(evaluation) == {"date_conflict": "stop"}
        assert evaluation.flags.get().detail["kind"] == "future"

    def test_an_examination_before_birth_is_stopped(self, club: Club) -> None:
        dog = make_dog(club, born_on=date(2026, 10, 3))

        assert flags_of(make_submitted(club, dog)) == {"date_conflict": "stop"}

    def test_the_chip_of_another_dog_is_stopped(self, club: Club) -> None:
        other = make_dog(club)
        read = {"restraint": "none", "chip_read": True, "chip_as_read": other.chip}

        evaluation = make_submitted(club, conditions=read)

        assert flags_of(evaluation) == {"chip_conflict": "stop"}
        assert evaluation.flags.get().detail["other_dog"] == other.public_id

    def test_a_chip_that_is_not_the_one_on_record_wants_a_look(self, club: Club) -> None:
        read = {"restraint": "none", "chip_read": True, "chip_as_read": "276098106234567"}

        assert flags_of(make_submitted(club, conditions=read)) == {"chip_conflict": "look"}

    def test_a_chip_that_was_not_read_wants_a_look(self, club: Club) -> None:
        unread = {"restraint": "none", "chip_read": False}

        assert flags_of(make_submitted(club, conditions=unread)) == {"chip_not_read": "look"}

    def test_an_index_that_does_not_fit_its_lengths_wants_a_look(self, club: Club) -> None:
        reading = {"trait": "hip-laxity", "side": "left", "value": "0.55"}
        lengths = {"head_radius_mm": "12.5", "displacement_mm": "5"}

        other = {"trait": "hip-laxity", "side": "right", "value": "0.50"}

        evaluation = make_submitted(club, readings=[{**reading, **lengths}, other])

        assert flags_of(evaluation) == {"index_mismatch": "look"}
        assert evaluation.flags.get().detail["computed"] == "0.40"

    def test_a_second_result_within_days_wants_a_look(self, club: Club) -> None:
        dog = make_dog(club)
        first = make_submitted(club, dog)

        evaluation = make_submitted(club, dog, examined_on="2026-10-05", left="0.40")

        assert flags_of(evaluation) == {"possible_duplicate": "look"}
        assert evaluation.flags.get().detail["other"] == first.reference

    def test_a_dog_that_a_clinic_added_wants_a_look(self, club: Club) -> None:
        dog = make_dog(club, by=club.nurse.actor)

        assert flags_of(make_submitted(club, dog)) == {"dog_unconfirmed": "look"}


class TestResubmit:
    def test_the_same_reference_goes_back_into_the_queue(self, club: Club) -> None:
        evaluation = returned(club)

        again = resubmit(
            by=club.nurse.actor,
            evaluation_id=evaluation.public_id,
            body=make_body(evaluation.dog, left="0.33"),
        )

        assert again.reference == evaluation.reference
        assert again.state == State.SUBMITTED
        assert (again.reason, again.fields_to_fix) == ("", [])
        assert Evaluation.objects.count() == 1
        assert dict(again.readings.values_list("side", "step")) == {"left": 33, "right": 35}

    def test_its_entry_says_what_changed(self, club: Club) -> None:
        evaluation = returned(club)

        resubmit(
            by=club.nurse.actor,
            evaluation_id=evaluation.public_id,
            body=make_body(evaluation.dog, left="0.33"),
        )

        values = json.loads(LedgerEntry.objects.latest("seq").body)["values"]
        assert values["readings.hip-laxity.left"] == {"from": "0.31", "to": "0.33"}
        assert "readings.hip-laxity.right" not in values
        assert values["state"] == {"from": "returned", "to": "submitted"}

    def test_one_that_waits_cannot_be_answered(self, club: Club) -> None:
        evaluation = make_submitted(club)

        with pytest.raises(Conflict, match="submitted"):
            resubmit(
                by=club.nurse.actor,
                evaluation_id=evaluation.public_id,
                body=make_body(evaluation.dog),
            )

    def test_bad_answers_leave_it_returned(self, club: Club) -> None:
        evaluation = returned(club)

        with pytest.raises(Invalid, match="at least one reading"):
            resubmit(
                by=club.nurse.actor,
                evaluation_id=evaluation.public_id,
                body=make_body(evaluation.dog, readings=[]),
            )

        evaluation.refresh_from_db()
        assert evaluation.state == State.RETURNED
        assert evaluation.readings.count() == 2

    def test_another_clinics_is_like_none(self, club: Club) -> None:
        evaluation = returned(club)

        for evaluation_id in (evaluation.public_id, "nothing"):
            with pytest.raises(NotFound, match="There is no such result"):
                resubmit(
                    by=club.other_nurse.actor,
                    evaluation_id=evaluation_id,
                    body=make_body(evaluation.dog),
                )


class TestWithdraw:
    @pytest.mark.parametrize("make", [make_submitted, returned])
    def test_it_stays_on_record_with_the_reason(self, club: Club, make: Any) -> None:
        evaluation = withdraw(
            by=club.nurse.actor, evaluation_id=make(club).public_id, reason=" wrong dog "
        )

        assert (evaluation.state, evaluation.reason) == (State.WITHDRAWN, "wrong dog")
        entry = LedgerEntry.objects.latest("seq")
        assert entry.action == "evaluation.withdrawn"
        assert LedgerText.objects.get(entry=entry, field="reason").text == "wrong dog"

    def test_it_wants_a_reason(self, club: Club) -> None:
        evaluation = make_submitted(club)

        with pytest.raises(Invalid, match="Say why"):
            withdraw(by=club.nurse.actor, evaluation_id=evaluation.public_id, reason=" ")

    def test_an_accepted_one_cannot_be_withdrawn(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation

        with pytest.raises(Conflict, match="accepted"):
            withdraw(by=club.nurse.actor, evaluation_id=evaluation.public_id, reason="wrong dog")

        evaluation.refresh_from_db()
        assert evaluation.state == State.ACCEPTED

    def test_another_clinics_is_like_none(self, club: Club) -> None:
        evaluation = make_submitted(club)

        with pytest.raises(NotFound, match="There is no such result"):
            withdraw(
                by=club.other_nurse.actor, evaluation_id=evaluation.public_id, reason="wrong dog"
            )
