"""A clinic announces an examination, its result answers it, or it is withdrawn with a reason."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from registry.desk import catalogue, decide, merge
from registry.desk.announce import announce, put_to_announcement, withdraw_announcement
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.desk.personal import erase_owner
from registry.desk.submit import resubmit, submit, withdraw
from registry.models import Announcement, Dog, Evaluation, LedgerEntry, LedgerText, Owner
from registry.queries.announcements import Outcome, announcements_of_dog, completeness
from registry.queries.personal import Words, held_in_words
from tests.factories import Club, make_body, make_club, make_dog, make_submitted

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def dog(club: Club) -> Dog:
    return make_dog(club)


def day(days: int = 0) -> date:
    return timezone.localdate() + timedelta(days=days)


def announced(club: Club, dog: Dog, days: int = 0) -> Announcement:
    return announce(by=club.nurse.actor, dog_id=dog.public_id, examined_on=day(days))


def sent(club: Club, dog: Dog, days: int = 0) -> Evaluation:
    return make_submitted(club, dog, examined_on=day(days).isoformat())


def outcome_of(dog: Dog) -> list[Outcome]:
    return [each.outcome for each in announcements_of_dog(dog.pk)]


class TestAnnounce:
    def test_it_is_open_with_a_number_and_the_servers_time(self, club: Club, dog: Dog) -> None:
        before = timezone.now()

        made = announced(club, dog, days=5)

        assert made.is_open
        assert len(made.reference) == 10
        assert before <= made.announced_at <= timezone.now()
        entry = LedgerEntry.objects.latest("seq")
        assert (entry.action, entry.dog) == ("announcement.made", dog.public_id)
        assert f'"to":"{day(5).isoformat()}"' in entry.body

    @pytest.mark.parametrize("days", [-3, 56])
    def test_the_first_and_the_last_day_are_taken(self, club: Club, dog: Dog, days: int) -> None:
        assert announced(club, dog, days).examined_on == day(days)

    @pytest.mark.parametrize("days", [-4, 57])
    def test_a_day_too_far_off_is_refused(self, club: Club, dog: Dog, days: int) -> None:
        with pytest.raises(Invalid, match="Choose a day between"):
            announced(club, dog, days)

    def test_the_same_dog_and_day_twice_is_a_conflict(self, club: Club, dog: Dog) -> None:
        announced(club, dog)

        with pytest.raises(Conflict, match="already"):
            announced(club, dog)

        assert Announcement.objects.count() == 1

    def test_a_result_that_was_sent_cannot_be_announced(self, club: Club, dog: Dog) -> None:
        sent(club, dog)

        with pytest.raises(Invalid, match="sent in already"):
            announced(club, dog)

    def test_an_unknown_dog_is_not_found(self, club: Club) -> None:
        with pytest.raises(NotFound):
            announce(by=club.nurse.actor, dog_id="nobody", examined_on=day())

    def test_only_a_clinic_announces(self, club: Club, dog: Dog) -> None:
        with pytest.raises(Refused):
            announce(by=club.registrar.actor, dog_id=dog.public_id, examined_on=day())

    def test_a_merged_dogs_announcement_moves_with_it(self, club: Club) -> None:
        kept, dropped = make_dog(club), make_dog(club)
        announced(club, dropped, days=2)

        merge.merge_dogs(
            by=club.registrar.actor,
            keep=kept.public_id,
            drop=dropped.public_id,
            versions=None,
            reason="one dog, two entries",
            confirmed=[merge.CHIPS],
        )

        assert outcome_of(kept) == [Outcome.OPEN]


class TestWithdraw:
    def test_it_stays_with_its_reason(self, club: Club, dog: Dog) -> None:
        made = announced(club, dog)

        withdraw_announcement(
            by=club.nurse.actor, announcement_id=made.public_id, reason=" the dog\nwas in heat "
        )

        (seen,) = announcements_of_dog(dog.pk)
        assert (seen.outcome, seen.reason) == (Outcome.WITHDRAWN, "the dog was in heat")
        entry = LedgerEntry.objects.latest("seq")
        assert entry.action == "announcement.withdrawn"
        assert "heat" not in entry.body
        assert LedgerText.objects.get(entry=entry, field="reason").text == "the dog was in heat"

    def test_it_needs_a_reason(self, club: Club, dog: Dog) -> None:
        made = announced(club, dog)

        with pytest.raises(Invalid, match="Say why"):
            withdraw_announcement(by=club.nurse.actor, announcement_id=made.public_id, reason=" \n")

        assert outcome_of(dog) == [Outcome.OPEN]

    def test_another_clinics_is_not_found(self, club: Club, dog: Dog) -> None:
        made = announced(club, dog)

        with pytest.raises(NotFound):
            withdraw_announcement(
                by=club.other_nurse.actor, announcement_id=made.public_id, reason="not ours"
            )

    def test_an_answered_one_cannot_be_withdrawn(self, club: Club, dog: Dog) -> None:
        made = announced(club, dog)
        sent(club, dog)

        with pytest.raises(Conflict, match="A result was sent"):
            withdraw_announcement(
                by=club.nurse.actor, announcement_id=made.public_id, reason="bad hips"
            )

    def test_a_withdrawn_one_stays_withdrawn(self, club: Club, dog: Dog) -> None:
        made = announced(club, dog)
        withdraw_announcement(
            by=club.nurse.actor, announcement_id=made.public_id, reason="cancelled"
        )

        with pytest.raises(Conflict, match="already"):
            withdraw_announcement(
                by=club.nurse.actor, announcement_id=made.public_id, reason="another reason"
            )

        assert Announcement.objects.get().reason == "cancelled"

    def test_a_person_in_the_reason_is_found_and_erased(self, club: Club, dog: Dog) -> None:
        made = announced(club, dog)
        sent(club, make_dog(club))
        withdraw_announcement(
            by=club.nurse.actor, announcement_id=made.public_id, reason="Olga Reedmoor fell ill"
        )
        owner = Owner.objects.get()

        held = list(held_in_words(Words("Olga Reedmoor", "")))
        erase_owner(by=club.secretary.actor, owner_id=owner.public_id)

        assert made.reference in {each.about for each in held}
        assert Announcement.objects.get().reason == "… fell ill"


class TestAnswer:
    def test_the_result_answers_the_nearest_day(self, club: Club, dog: Dog) -> None:
        far, near = announced(club, dog, days=9), announced(club, dog, days=1)

        evaluation = sent(club, dog)

        near.refresh_from_db()
        far.refresh_from_db()
        assert near.evaluation == evaluation
        assert far.is_open
        assert LedgerEntry.objects.latest("seq").action == "announcement.answered"

    @pytest.mark.parametrize(("days", "answers"), [(14, True), (15, False)])
    def test_within_two_weeks(self, club: Club, dog: Dog, days: int, answers: bool) -> None:
        made = announced(club, dog, days=days)

        sent(club, dog)

        made.refresh_from_db()
        assert made.is_open is not answers

    def test_another_clinics_announcement_stays_open(self, club: Club, dog: Dog) -> None:
        made = announce(by=club.other_nurse.actor, dog_id=dog.public_id, examined_on=day())

        sent(club, dog)

        made.refresh_from_db()
        assert made.is_open

    def test_what_becomes_of_the_result_becomes_of_the_announcement(self, club: Club) -> None:
        accepted, declined, taken_back = make_dog(club), make_dog(club), make_dog(club)
        results = {}
        for each in (accepted, declined, taken_back):
            announced(club, each)
            results[each.pk] = sent(club, each).public_id

        decide.accept(by=club.registrar.actor, evaluation_id=results[accepted.pk])
        decide.decline(
            by=club.registrar.actor, evaluation_id=results[declined.pk], reason="blurred films"
        )
        withdraw(by=club.nurse.actor, evaluation_id=results[taken_back.pk], reason="wrong dog")

        assert outcome_of(accepted) == [Outcome.ACCEPTED]
        assert outcome_of(declined) == [Outcome.DECLINED]
        assert outcome_of(taken_back) == [Outcome.RESULT_WITHDRAWN]
        (group,) = completeness(club.breed)
        assert group.announced == 3
        assert {name: n for name, n in group.counts.items() if n} == {
            Outcome.ACCEPTED: 1,
            Outcome.DECLINED: 1,
            Outcome.RESULT_WITHDRAWN: 1,
        }

    def test_a_result_put_right_to_another_dog_opens_the_first_again(self, club: Club) -> None:
        meant, typed = make_dog(club), make_dog(club)
        announced(club, typed)
        announced(club, meant)
        evaluation = sent(club, typed)
        decide.return_for_correction(
            by=club.registrar.actor,
            evaluation_id=evaluation.public_id,
            reason="Which dog?",
            fields=["/dog"],
        )

        resubmit(
            by=club.nurse.actor,
            evaluation_id=evaluation.public_id,
            body=make_body(meant, examined_on=day().isoformat()),
        )

        assert outcome_of(typed) == [Outcome.OPEN]
        assert outcome_of(meant) == [Outcome.WITH_CLUB]
        actions = LedgerEntry.objects.order_by("seq").values_list("action", flat=True)
        assert list(actions)[-2:] == ["announcement.reopened", "announcement.answered"]

    def test_without_an_announcement_it_costs_one_query(self, club: Club, dog: Dog) -> None:
        evaluation = sent(club, dog)

        with CaptureQueriesContext(connection) as asked:
            put_to_announcement(club.nurse.actor, evaluation)

        assert len(asked) == 1


class TestRequired:
    def require(self, club: Club, days: int = 0) -> None:
        catalogue.require_announcement(
            by=club.secretary.actor,
            breed_slug=club.breed.slug,
            first_day=day(days),
            reason="the members voted for it",
        )

    def test_what_was_not_announced_is_refused(self, club: Club, dog: Dog) -> None:
        self.require(club)

        with pytest.raises(Invalid, match="has to be announced before or on its day") as refused:
            sent(club, dog)

        assert [each.pointer for each in refused.value.problems] == ["/examined_on"]
        assert not Evaluation.objects.exists()

    def test_what_was_announced_on_the_day_is_taken(self, club: Club, dog: Dog) -> None:
        self.require(club)
        announced(club, dog)

        assert sent(club, dog).announcement.is_open is False

    def test_what_was_examined_before_the_first_day_is_taken(self, club: Club, dog: Dog) -> None:
        self.require(club)

        assert sent(club, dog, days=-1).pk

    def test_an_announcement_after_the_day_is_too_late(self, club: Club, dog: Dog) -> None:
        announced(club, dog, days=-1)
        # Written past the desk, which takes no past day.
        club.breed.requires_announcement_from = day(-2)
        club.breed.save()

        with pytest.raises(Invalid, match="has to be announced"):
            sent(club, dog, days=-1)

        assert outcome_of(dog) == [Outcome.OPEN]

    def test_a_withdrawn_result_may_be_sent_anew(self, club: Club, dog: Dog) -> None:
        self.require(club)
        announced(club, dog)
        first = sent(club, dog)
        withdraw(by=club.nurse.actor, evaluation_id=first.public_id, reason="sides swapped")

        again = submit(
            by=club.nurse.actor, body=make_body(dog, examined_on=day().isoformat(), left="0.32")
        )

        assert again.pk
        assert outcome_of(dog) == [Outcome.RESULT_WITHDRAWN]

    def test_a_past_first_day_is_refused(self, club: Club) -> None:
        with pytest.raises(Invalid, match="today or a later day"):
            self.require(club, days=-1)

    def test_it_stands_in_the_ledger_and_can_be_lifted(self, club: Club) -> None:
        self.require(club, days=3)

        lifted = catalogue.require_announcement(
            by=club.secretary.actor, breed_slug=club.breed.slug, first_day=None, reason="too early"
        )

        assert lifted.requires_announcement_from is None
        bodies = LedgerEntry.objects.filter(action="breed.announcement").order_by("seq")
        assert [f'"to":{end}' in each.body for each, end in zip(
            bodies, (f'"{day(3).isoformat()}"', "null"), strict=True
        )] == [True, True]  # fmt: skip

    def test_only_a_secretary_sets_it(self, club: Club) -> None:
        with pytest.raises(Refused):
            catalogue.require_announcement(
                by=club.registrar.actor,
                breed_slug=club.breed.slug,
                first_day=day(),
                reason="why not",
            )
