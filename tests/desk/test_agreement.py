"""Rows edited behind the desk's back are found and named; honest work gives no alarm."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from django.core.management import CommandError, call_command
from django.db.models import Model

from registry.desk import consent, decide, evidence, personal, revoke, submit
from registry.desk.actor import Actor
from registry.desk.agreement import check_files, check_rows
from registry.desk.evidence import stored_path
from registry.desk.merge import CHIPS, merge_dogs
from registry.models import (
    Certificate,
    Clinic,
    DistributionCell,
    Evaluation,
    Evidence,
    Flag,
    FlagLevel,
    LedgerEntry,
    Reading,
    State,
    User,
)
from tests.factories import (
    Club,
    make_accepted,
    make_body,
    make_club,
    make_dog,
    make_revoked,
    make_submitted,
)

pytestmark = pytest.mark.django_db

LONG_AGO = datetime(2020, 1, 2, 3, 4, tzinfo=UTC)


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def accepted(club: Club) -> Certificate:
    """An accepted result with a file."""
    file = evidence.attach(by=club.nurse.actor, chunks=[b"%PDF-1.7 a film"], name="film.pdf")
    return make_accepted(club, evidence=[file.public_id])


def other(model: type[Model]) -> Model:
    """A person or clinic that had nothing to do with the result."""
    return model._default_manager.latest("pk")


def add_flag() -> Flag:
    """A check that found nothing, as if it had."""
    return Flag.objects.create(
        evaluation=Evaluation.objects.get(), code="chip_not_read", level=FlagLevel.LOOK
    )


def found() -> list[tuple[str, str]]:
    return [(damage.field, damage.kind) for damage in check_rows()]


def entry_of(action: str) -> int:
    return LedgerEntry.objects.get(action=action).seq


class TestHonestWork:
    def test_every_deed_leaves_rows_that_agree(self, club: Club, accepted: Certificate) -> None:
        dog = accepted.evaluation.dog
        waiting = make_submitted(club)
        returned = make_submitted(club)
        decide.return_for_correction(
            by=club.registrar.actor, evaluation_id=returned.public_id, reason="which side?"
        )
        submit.resubmit(
            by=club.nurse.actor,
            evaluation_id=returned.public_id,
            body=make_body(returned.dog, left="0.44"),
        )
        declined = make_submitted(club)
        decide.decline(by=club.registrar.actor, evaluation_id=declined.public_id, reason="no")
        submit.withdraw(by=club.nurse.actor, evaluation_id=waiting.public_id, reason="wrong dog")
        make_accepted(club, dog, examined_on="2026-10-20", left="0.5")
        revoked = make_accepted(club)
        make_revoked(club, revoked.evaluation.public_id, reason="swapped")
        wrong = make_accepted(club)
        revoke.replace(
            by=club.registrar.actor,
            evaluation_id=wrong.evaluation.public_id,
            changes={"readings": make_body(wrong.evaluation.dog, left="0.41")["readings"]},
            reason="left was read wrongly",
        )
        consent.change_consent(
            by=Actor.system(), evaluation_id=accepted.evaluation.public_id, publish=False
        )

        assert list(check_rows()) == []
        assert list(check_files()) == []
        call_command("verify_records")

    def test_words_that_were_erased_for_a_person_are_no_damage(self, club: Club) -> None:
        revoked = make_accepted(club, examiner="Olga Reedmoor").evaluation
        make_revoked(club, revoked.public_id, reason="Olga Reedmoor read another dog")
        assert revoked.owner is not None

        personal.erase_owner(by=club.secretary.actor, owner_id=revoked.owner.public_id)

        revoked.refresh_from_db()
        assert (revoked.examiner, revoked.reason) == ("…", "… read another dog")
        assert list(check_rows()) == []

    def test_an_older_result_that_holds_again_still_agrees(self, club: Club) -> None:
        dog = make_dog(club)
        newer = make_accepted(club, dog, examined_on="2026-10-20")
        older = make_accepted(club, dog, examined_on="2026-10-02").evaluation
        older.refresh_from_db()
        assert older.state == State.REPLACED
        make_revoked(club, newer.evaluation.public_id)

        older.refresh_from_db()
        assert older.state == State.ACCEPTED
        assert list(check_rows()) == []

    def test_results_of_a_merged_dog_still_agree(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        make_accepted(club, drop)
        merge_dogs(
            by=club.registrar.actor,
            keep=keep.public_id,
            drop=drop.public_id,
            versions=None,
            reason="one dog, entered twice",
            confirmed=[CHIPS],
        )

        assert list(check_rows()) == []


class TestEditedRows:
    def test_a_reading_is_named_with_the_entry_that_gave_it(self, accepted: Certificate) -> None:
        Reading.objects.filter(side="left").update(step=11)

        (damage,) = check_rows()

        assert (damage.field, damage.kind) == ("readings.hip-laxity.left", "edited")
        assert damage.seq == entry_of("evaluation.submitted")

    def test_a_standing_as_issued_is_named(self, accepted: Certificate) -> None:
        Certificate.objects.update(standing={"hip-laxity": {"step": 35, "n": 900}})

        (damage,) = check_rows()

        assert (damage.field, damage.seq) == ("standing", entry_of("evaluation.accepted"))

    @pytest.mark.parametrize(
        ("edit", "field"),
        [
            (lambda: Evaluation.objects.update(state=State.REVOKED), "state"),
            (lambda: Evaluation.objects.update(examined_on="2026-09-01"), "examined_on"),
            (lambda: Evaluation.objects.update(consent_to_publish=False), "consent_to_publish"),
            (lambda: Evaluation.objects.update(conditions={}), "conditions.chip_read"),
            (lambda: Certificate.objects.update(number="0000000000"), "certificate"),
            (lambda: Reading.objects.filter(side="left").delete(), "readings.hip-laxity.left"),
            (lambda: Evidence.objects.update(evaluation=None), "evidence"),
            (lambda: Evaluation.objects.update(clinic=other(Clinic)), "clinic"),
            (lambda: Evaluation.objects.update(submitted_by=other(User)), "submitted_by"),
            (lambda: Evaluation.objects.update(decided_by=other(User)), "decided_by"),
            (lambda: Evaluation.objects.update(submitted_at=LONG_AGO), "submitted_at"),
            (lambda: Evaluation.objects.update(decided_at=LONG_AGO), "decided_at"),
            (lambda: Evaluation.objects.update(accepted_at=LONG_AGO), "accepted_at"),
            (lambda: Certificate.objects.update(issued_at=LONG_AGO), "issued_at"),
            (lambda: Evaluation.objects.update(examiner="Dr. Nobody"), "examiner"),
            (lambda: Evaluation.objects.update(reason="it was well done"), "reason"),
            (lambda: Evaluation.objects.update(fields_to_fix=["/readings"]), "fields_to_fix"),
            (add_flag, "flags"),
        ],
    )
    def test_any_other_field_is_named(
        self, accepted: Certificate, edit: Callable[[], object], field: str
    ) -> None:
        edit()

        assert (field, "edited") in found()

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"reason": "the owner asked for it"}, "reason"),
            ({"decided_at": LONG_AGO}, "decided_at"),
            ({"state": State.ACCEPTED}, "state"),
        ],
    )
    def test_why_and_when_it_was_revoked_is_named(
        self, club: Club, accepted: Certificate, changes: dict[str, object], field: str
    ) -> None:
        make_revoked(club, accepted.evaluation.public_id, reason="films of another dog")

        Evaluation.objects.update(**changes)

        assert found() == [(field, "edited")]

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"state": State.ACCEPTED}, "state"),
            ({"reason": "the registrar was asked to"}, "reason"),
        ],
    )
    def test_a_corrected_result_that_is_made_to_hold_again_is_named(
        self, club: Club, accepted: Certificate, changes: dict[str, object], field: str
    ) -> None:
        old = accepted.evaluation
        revoke.replace(
            by=club.registrar.actor,
            evaluation_id=old.public_id,
            changes={"examiner": "Dr. Vera Oakhollow-Reed"},
            reason="her name was wrong",
        )

        Evaluation.objects.filter(pk=old.pk).update(**changes)

        assert found() == [(field, "edited")]

    def test_a_correction_cut_from_what_it_corrects_is_named(
        self, club: Club, accepted: Certificate
    ) -> None:
        revoke.replace(
            by=club.registrar.actor,
            evaluation_id=accepted.evaluation.public_id,
            changes={"examiner": "Dr. Vera Oakhollow-Reed"},
            reason="her name was wrong",
        )

        Evaluation.objects.update(corrects=None)

        assert found() == [("corrects", "edited")]

    def test_another_dog_is_named(self, club: Club, accepted: Certificate) -> None:
        Evaluation.objects.update(dog=make_dog(club))

        assert found() == [("dog", "edited")]

    def test_a_result_nobody_sent_is_named(self, club: Club, accepted: Certificate) -> None:
        planted = Evaluation.objects.get()
        planted.pk, planted.public_id, planted.reference = None, "a" * 16, "PLANTED000"
        planted.save()

        assert found() == [("evaluation", "added")]

    def test_a_result_that_is_gone_is_named(self, club: Club) -> None:
        evaluation = make_submitted(club)
        evaluation.readings.all().delete()
        evaluation.flags.all().delete()
        Evaluation.objects.all().delete()

        assert found() == [("evaluation", "missing")]


class TestEditedFilesAndCounts:
    def test_a_flipped_bit_is_named(self, accepted: Certificate) -> None:
        path = stored_path(Evidence.objects.get())
        path.chmod(0o600)
        path.write_bytes(bytes([path.read_bytes()[0] ^ 1]) + path.read_bytes()[1:])

        (damage,) = check_files()

        assert (damage.field, damage.kind) == ("file", "edited")

    def test_a_file_that_is_gone_is_named(self, accepted: Certificate) -> None:
        stored_path(Evidence.objects.get()).unlink()

        (damage,) = check_files()

        assert (damage.field, damage.kind) == ("file", "missing")

    def test_the_command_names_an_edited_count_and_fails(
        self, accepted: Certificate, capsys: pytest.CaptureFixture[str]
    ) -> None:
        DistributionCell.objects.update(dogs=7)

        with pytest.raises(CommandError, match="does not say what its ledger says"):
            call_command("verify_records", "--without-files")
        assert "the breed's counts differ" in capsys.readouterr().out
