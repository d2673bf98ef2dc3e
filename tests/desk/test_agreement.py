"""Rows edited behind the desk's back are found and named; honest work gives no alarm."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.management import CommandError, call_command

from registry.desk import consent, decide, evidence, revoke, submit
from registry.desk.actor import Actor
from registry.desk.agreement import check_files, check_rows
from registry.desk.evidence import stored_path
from registry.desk.merge import CHIPS, merge_dogs
from registry.models import (
    Certificate,
    DistributionCell,
    Evaluation,
    Evidence,
    LedgerEntry,
    Reading,
    State,
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


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def accepted(club: Club) -> Certificate:
    """An accepted result with a file."""
    file = evidence.attach(by=club.nurse.actor, chunks=[b"%PDF-1.7 a film"], name="film.pdf")
    return make_accepted(club, evidence=[file.public_id])


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
        ],
    )
    def test_any_other_field_is_named(
        self, accepted: Certificate, edit: Callable[[], object], field: str
    ) -> None:
        edit()

        assert (field, "edited") in found()

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
