"""Whether the counts that are shown hold the very value they are compared with."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.utils import timezone

from registry.models import Evaluation, Trait
from registry.queries.breed_counts import BreedCounts, breed_counts
from registry.queries.held_values import held_values
from tests.factories import Club, make_accepted, make_club, make_dog

pytestmark = pytest.mark.django_db


def counts_for(club: Club, evaluation: Evaluation) -> BreedCounts:
    return breed_counts(
        club.breed.pk,
        window_months=club.breed.window_months,
        now=timezone.now(),
        evaluation_id=evaluation.pk,
    )


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def laxity(club: Club) -> int:
    return Trait.objects.get(slug="hip-laxity").pk


class TestHolds:
    def test_the_value_that_counts_is_held(self, club: Club, laxity: int) -> None:
        evaluation = make_accepted(club).evaluation

        assert counts_for(club, evaluation).holds(laxity, evaluation.pk)

    def test_an_overtaken_value_is_not_though_another_dog_has_the_same(
        self, club: Club, laxity: int
    ) -> None:
        dog = make_dog(club)
        make_accepted(club)
        older = make_accepted(club, dog, examined_on="2026-10-02").evaluation
        newer = make_accepted(club, dog, examined_on="2026-11-02").evaluation

        assert counts_for(club, older).of(laxity).n == 2
        assert not counts_for(club, older).holds(laxity, older.pk)
        assert counts_for(club, newer).holds(laxity, newer.pk)

    def test_a_value_older_than_the_window_is_not(self, club: Club, laxity: int) -> None:
        dog = make_dog(club, born_on=date(2010, 1, 1))
        evaluation = make_accepted(club, dog, examined_on="2012-01-02").evaluation

        assert not counts_for(club, evaluation).holds(laxity, evaluation.pk)

    def test_only_the_evaluation_asked_about_is_answered_for(self, club: Club, laxity: int) -> None:
        asked, other = make_accepted(club).evaluation, make_accepted(club).evaluation

        assert not counts_for(club, asked).holds(laxity, other.pk)

    def test_an_earlier_instant_is_answered_as_of_then(self, club: Club, laxity: int) -> None:
        evaluation = make_accepted(club).evaluation
        at = timezone.now()

        before = held_values([evaluation.pk], at=at - timedelta(days=1))

        assert not before
        assert (laxity, evaluation.pk) in held_values([evaluation.pk], at=at)
