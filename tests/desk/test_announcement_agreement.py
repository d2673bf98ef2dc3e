"""Announcements edited behind the desk's back are found and named; honest work gives no alarm."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db.models import F
from django.utils import timezone

from registry.desk import decide, personal, submit
from registry.desk.announce import announce, withdraw_announcement
from registry.desk.announcement_agreement import check_announcements
from registry.desk.merge import CHIPS, merge_dogs
from registry.models import Announcement, Dog, Evaluation, LedgerEntry
from tests.factories import Club, make_accepted, make_body, make_club, make_dog, make_submitted

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture
def club() -> Club:
    return make_club()


def announced(club: Club, dog: Dog | None = None, days: int = 0) -> Announcement:
    return announce(
        by=club.nurse.actor,
        dog_id=(dog or make_dog(club)).public_id,
        examined_on=timezone.localdate() + timedelta(days=days),
    )


def withdrawn(club: Club, reason: str = "the dog is ill") -> Announcement:
    made = announced(club)
    return withdraw_announcement(by=club.nurse.actor, announcement_id=made.public_id, reason=reason)


def answered(club: Club) -> Announcement:
    made = announced(club)
    make_accepted(club, made.dog, examined_on=made.examined_on.isoformat())
    return Announcement.objects.get(pk=made.pk)


def entry_of(made: Announcement, action: str) -> int:
    return LedgerEntry.objects.get(subject=f"announcement:{made.public_id}", action=action).seq


def found() -> list[tuple[str, str, int]]:
    return [(damage.field, damage.kind, damage.seq) for damage in check_announcements()]


class TestHonestWork:
    def test_every_deed_leaves_announcements_that_agree(self, club: Club) -> None:
        announced(club)
        withdrawn(club)
        answered(club)
        other = make_dog(club)
        moved = announced(club)
        sent = make_submitted(club, moved.dog, examined_on=moved.examined_on.isoformat())
        submit.withdraw(by=club.nurse.actor, evaluation_id=sent.public_id, reason="wrong dog")
        announced(club, other, days=20)

        assert found() == []
        call_command("verify_records")

    def test_one_of_a_merged_dog_still_agrees(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        announced(club, drop)
        merge_dogs(
            by=club.registrar.actor,
            keep=keep.public_id,
            drop=drop.public_id,
            versions=None,
            reason="one dog, entered twice",
            confirmed=[CHIPS],
        )

        assert found() == []

    def test_a_reason_that_was_erased_for_a_person_is_no_damage(self, club: Club) -> None:
        made = withdrawn(club, reason="Olga Reedmoor did not come")
        sent = make_submitted(club, made.dog)
        assert sent.owner is not None

        personal.erase_owner(by=club.secretary.actor, owner_id=sent.owner.public_id)

        made.refresh_from_db()
        assert "Olga" not in made.reason
        assert found() == []


class TestEditedRows:
    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            (lambda club: {"reference": "0000000000"}, "reference"),
            (lambda club: {"examined_on": F("examined_on") - timedelta(1)}, "examined_on"),
            (lambda club: {"announced_at": F("announced_at") - HOUR}, "announced_at"),
            (lambda club: {"dog": make_dog(club)}, "dog"),
            (lambda club: {"clinic": club.other_nurse.membership.clinic}, "clinic"),
            (lambda club: {"announced_by": club.other_nurse.user}, "announced_by"),
        ],
    )
    def test_what_was_announced_is_named_with_its_entry(
        self, club: Club, changes: Callable[[Club], dict[str, object]], field: str
    ) -> None:
        made = announced(club)

        Announcement.objects.filter(pk=made.pk).update(**changes(club))

        assert found() == [(field, "edited", entry_of(made, "announcement.made"))]

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"reason": "the dog is well"}, "reason"),
            ({"withdrawn_at": F("withdrawn_at") - HOUR}, "withdrawn_at"),
        ],
    )
    def test_a_withdrawal_is_named_with_its_entry(
        self, club: Club, changes: dict[str, object], field: str
    ) -> None:
        made = withdrawn(club)

        Announcement.objects.filter(pk=made.pk).update(**changes)

        assert found() == [(field, "edited", entry_of(made, "announcement.withdrawn"))]

    def test_a_withdrawal_undone_is_named(self, club: Club) -> None:
        made = withdrawn(club)

        Announcement.objects.filter(pk=made.pk).update(withdrawn_at=None, reason="")

        seq = entry_of(made, "announcement.withdrawn")
        assert found() == [("reason", "edited", seq), ("withdrawn_at", "edited", seq)]

    def test_a_withdrawal_nobody_made_is_named(self, club: Club) -> None:
        made = announced(club)

        Announcement.objects.update(withdrawn_at=timezone.now(), reason="nobody came")

        seq = entry_of(made, "announcement.made")
        assert found() == [("reason", "edited", seq), ("withdrawn_at", "edited", seq)]

    def test_an_answer_taken_away_is_named(self, club: Club) -> None:
        made = answered(club)

        Announcement.objects.update(evaluation=None)

        assert found() == [("evaluation", "edited", entry_of(made, "announcement.answered"))]

    def test_an_answer_by_another_result_is_named(self, club: Club) -> None:
        made = answered(club)
        other = make_submitted(club)

        Announcement.objects.update(evaluation=other)

        assert found() == [("evaluation", "edited", entry_of(made, "announcement.answered"))]

    def test_an_answer_after_it_was_opened_again_is_named(self, club: Club) -> None:
        made = announced(club)
        day = made.examined_on.isoformat()
        sent = make_submitted(club, made.dog, examined_on=day)
        decide.return_for_correction(
            by=club.registrar.actor, evaluation_id=sent.public_id, reason="which dog?"
        )
        submit.resubmit(
            by=club.nurse.actor,
            evaluation_id=sent.public_id,
            body=make_body(make_dog(club), examined_on=day),
        )
        assert found() == []

        Announcement.objects.update(evaluation=Evaluation.objects.get())

        assert found() == [("evaluation", "edited", entry_of(made, "announcement.reopened"))]

    def test_one_that_is_gone_is_named(self, club: Club) -> None:
        made = announced(club)
        seq = entry_of(made, "announcement.made")

        made.delete()

        assert found() == [("announcement", "missing", seq)]

    def test_one_nobody_made_is_named(self, club: Club) -> None:
        planted = announced(club)
        planted.pk, planted.public_id, planted.reference = None, "a" * 16, "PLANTED000"
        planted.save()

        assert found() == [("announcement", "added", 0)]

    def test_the_command_names_it_and_fails(
        self, club: Club, capsys: pytest.CaptureFixture[str]
    ) -> None:
        made = announced(club)
        Announcement.objects.update(announced_at=F("announced_at") - HOUR)

        with pytest.raises(CommandError, match="does not say what its ledger says"):
            call_command("verify_records", "--without-files")

        seq = entry_of(made, "announcement.made")
        assert f"entry {seq} · announced_at · edited" in capsys.readouterr().out
