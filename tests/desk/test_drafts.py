"""A clinic's drafts keep, are its own, and are sent once however often the button is pressed."""

from __future__ import annotations

from typing import Any

import pytest

from registry.desk import decide
from registry.desk.drafts import (
    answer_returned,
    discard_draft,
    save_draft,
    send_draft,
    start_draft,
)
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.models import Draft, Evaluation, LedgerEntry, Role, State
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


def saved(club: Club, **members: Any) -> Draft:
    draft = start_draft(by=club.nurse.actor)
    return save_draft(
        by=club.nurse.actor,
        draft_id=draft.public_id,
        version=draft.version,
        answers=make_body(make_dog(club), **members),
    )


def returned(club: Club) -> Evaluation:
    return decide.return_for_correction(
        by=club.registrar.actor,
        evaluation_id=make_submitted(club).public_id,
        reason="Which side is left?",
    )


class TestStart:
    def test_it_begins_empty(self, club: Club) -> None:
        draft = start_draft(by=club.nurse.actor)

        assert (draft.answers, draft.dog, draft.version) == ({}, None, 1)
        assert (draft.clinic, draft.created_by) == (club.clinic, club.nurse.user)

    def test_it_knows_the_dog_it_is_for(self, club: Club) -> None:
        dog = make_dog(club)

        draft = start_draft(by=club.nurse.actor, dog_id=dog.public_id)

        assert draft.dog == dog
        assert draft.answers == {"dog": {"id": dog.public_id}}

    def test_only_a_clinic_writes_one(self, club: Club) -> None:
        for person in (club.registrar, club.secretary):
            with pytest.raises(Refused):
                start_draft(by=person.actor)


class TestSave:
    def test_half_an_answer_keeps(self, club: Club) -> None:
        draft = start_draft(by=club.nurse.actor)

        draft = save_draft(
            by=club.nurse.actor,
            draft_id=draft.public_id,
            version=1,
            answers={"examiner": "", "readings": [{"value": "tig"}]},
        )

        assert draft.version == 2
        assert draft.answers == {"examiner": "", "readings": [{"value": "tig"}]}

    def test_an_older_page_does_not_overwrite_a_newer_answer(self, club: Club) -> None:
        draft = saved(club)

        with pytest.raises(Conflict, match="changed in another window"):
            save_draft(
                by=club.nurse.actor, draft_id=draft.public_id, version=1, answers={"examiner": "X"}
            )

        draft.refresh_from_db()
        assert draft.version == 2
        assert draft.answers["examiner"] == "Dr. Vera Oakhollow"

    def test_the_dog_follows_the_answers(self, club: Club) -> None:
        draft = saved(club)
        other = make_dog(club)

        draft = save_draft(
            by=club.nurse.actor,
            draft_id=draft.public_id,
            version=2,
            answers={"dog": {"id": other.public_id}},
        )

        assert draft.dog == other

    def test_a_colleague_of_the_clinic_may_go_on_with_it(self, club: Club) -> None:
        draft = start_draft(by=club.nurse.actor)
        colleague = make_person(Role.CLINIC, clinic=club.clinic, by=club.secretary.actor)

        save_draft(by=colleague.actor, draft_id=draft.public_id, version=1, answers={"a": "b"})

        draft.refresh_from_db()
        assert draft.answers == {"a": "b"}

    def test_another_clinics_is_like_none(self, club: Club) -> None:
        draft = start_draft(by=club.nurse.actor)

        with pytest.raises(NotFound, match="There is no such draft"):
            save_draft(by=club.other_nurse.actor, draft_id=draft.public_id, version=1, answers={})

    def test_a_sent_one_cannot_be_changed(self, club: Club) -> None:
        draft = saved(club)
        send_draft(by=club.nurse.actor, draft_id=draft.public_id)

        with pytest.raises(NotFound):
            save_draft(by=club.nurse.actor, draft_id=draft.public_id, version=3, answers={})


class TestSend:
    def test_sending_twice_gives_one_result(self, club: Club) -> None:
        draft = saved(club)

        first = send_draft(by=club.nurse.actor, draft_id=draft.public_id)
        entries = LedgerEntry.objects.count()
        second = send_draft(by=club.nurse.actor, draft_id=draft.public_id)

        assert first.reference == second.reference
        assert Evaluation.objects.count() == 1
        assert LedgerEntry.objects.count() == entries

    def test_a_fault_keeps_the_draft(self, club: Club) -> None:
        draft = saved(club, readings=[])

        with pytest.raises(Invalid, match="at least one reading"):
            send_draft(by=club.nurse.actor, draft_id=draft.public_id)

        draft.refresh_from_db()
        assert draft.sent_as is None
        assert draft.version == 2
        assert not Evaluation.objects.exists()

    def test_another_clinics_is_like_none(self, club: Club) -> None:
        draft = saved(club)

        for draft_id in (draft.public_id, "nothing"):
            with pytest.raises(NotFound, match="There is no such draft"):
                send_draft(by=club.other_nurse.actor, draft_id=draft_id)


class TestAnswerReturned:
    def test_it_starts_from_what_was_sent(self, club: Club) -> None:
        evaluation = returned(club)

        draft = answer_returned(by=club.nurse.actor, evaluation_id=evaluation.public_id)

        assert draft.evaluation == evaluation
        assert draft.answers["examiner"] == evaluation.examiner
        assert draft.answers["readings"] == make_body(evaluation.dog)["readings"]
        assert draft.answers["owner"] == make_body(evaluation.dog)["owner"]

    def test_there_is_one_open_answer(self, club: Club) -> None:
        evaluation = returned(club)

        first = answer_returned(by=club.nurse.actor, evaluation_id=evaluation.public_id)
        second = answer_returned(by=club.nurse.actor, evaluation_id=evaluation.public_id)

        assert first == second

    def test_sending_it_answers_the_same_reference(self, club: Club) -> None:
        evaluation = returned(club)
        draft = answer_returned(by=club.nurse.actor, evaluation_id=evaluation.public_id)

        again = send_draft(by=club.nurse.actor, draft_id=draft.public_id)
        twice = send_draft(by=club.nurse.actor, draft_id=draft.public_id)

        assert again.reference == twice.reference == evaluation.reference
        assert again.state == State.SUBMITTED
        assert Evaluation.objects.count() == 1
        assert LedgerEntry.objects.filter(action="evaluation.resubmitted").count() == 1

    def test_a_measured_index_comes_back_as_its_lengths(self, club: Club) -> None:
        lengths = {"head_radius_mm": "12.50", "displacement_mm": "5.00"}
        reading = {"trait": "hip-laxity", "side": "left", **lengths}
        evaluation = make_submitted(club, readings=[reading])
        decide.return_for_correction(
            by=club.registrar.actor, evaluation_id=evaluation.public_id, reason="blurred"
        )

        draft = answer_returned(by=club.nurse.actor, evaluation_id=evaluation.public_id)

        assert draft.answers["readings"] == [reading]

    @pytest.mark.parametrize("make", [make_submitted, lambda club: make_accepted(club).evaluation])
    def test_only_a_returned_one_can_be_answered(self, club: Club, make: Any) -> None:
        evaluation = make(club)

        with pytest.raises(Conflict, match="Only a returned one"):
            answer_returned(by=club.nurse.actor, evaluation_id=evaluation.public_id)

    def test_another_clinics_is_like_none(self, club: Club) -> None:
        evaluation = returned(club)

        with pytest.raises(NotFound, match="There is no such result"):
            answer_returned(by=club.other_nurse.actor, evaluation_id=evaluation.public_id)


class TestDiscard:
    def test_it_is_gone(self, club: Club) -> None:
        draft = saved(club)

        discard_draft(by=club.nurse.actor, draft_id=draft.public_id)

        assert not Draft.objects.exists()

    @pytest.mark.parametrize("whose", ["another clinic's", "sent"])
    def test_a_sent_or_foreign_one_is_like_none(self, club: Club, whose: str) -> None:
        draft = saved(club)
        by = club.other_nurse.actor
        if whose == "sent":
            by = club.nurse.actor
            send_draft(by=by, draft_id=draft.public_id)

        with pytest.raises(NotFound):
            discard_draft(by=by, draft_id=draft.public_id)

        assert Draft.objects.exists()
