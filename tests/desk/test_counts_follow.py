"""Whatever is done in whatever order, the counts equal a rebuild and the past stays as served."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.desk import decide, revoke
from registry.desk.catalogue import change_window
from registry.desk.distributions import compare_distributions, rebuild_distributions
from registry.desk.dogs import DogFacts, correct_dog
from registry.ledger import Actor
from registry.ledger.verify import verify
from registry.models import (
    Breed,
    CountedValue,
    DistributionCell,
    Dog,
    Evaluation,
    State,
    StoredHistogram,
    Trait,
)
from registry.queries.distributions import distribution
from registry.science.distribution import Histogram
from tests.factories import (
    Club,
    make_accepted,
    make_breed,
    make_club,
    make_dog,
    make_revoked,
    make_submitted,
)

pytestmark = pytest.mark.django_db

VALUES = st.sampled_from(["0.20", "0.31", "0.45", "0.46", "0.90"])
DAYS = st.sampled_from(["2015-03-02", "2017-01-31", "2025-06-30", "2026-10-02", "2026-11-01"])
DEEDS = st.one_of(
    st.tuples(st.just("submit"), st.integers(0, 3), VALUES, VALUES, DAYS),
    st.tuples(st.just("accept"), st.integers(0, 9)),
    st.tuples(st.just("decline"), st.integers(0, 9)),
    st.tuples(st.just("revoke"), st.integers(0, 9)),
    st.tuples(st.just("replace"), st.integers(0, 9), VALUES, VALUES),
    st.tuples(st.just("correct"), st.integers(0, 3), st.sampled_from("FM"), st.integers(0, 1)),
    st.tuples(st.just("window"), st.sampled_from([1, 24, 120])),
)


@dataclass
class World:
    """A small club, what was done to it, and what was served after each deed."""

    club: Club
    other_breed: Breed
    dogs: list[Dog]
    served: list[tuple[datetime, dict[tuple[int, str], Histogram]]] = field(default_factory=list)

    def serve(self) -> None:
        self.served.append((timezone.now(), self.now()))

    def now(self) -> dict[tuple[int, str], Histogram]:
        return self.at(None)

    def at(self, as_of: datetime | None) -> dict[tuple[int, str], Histogram]:
        trait = Trait.objects.get(slug="hip-laxity")
        breeds = Breed.objects.filter(pk__in=(self.club.breed.pk, self.other_breed.pk))
        return {
            (breed.pk, sex): distribution(breed=breed, trait=trait, sex=sex, as_of=as_of).histogram
            for breed in breeds
            for sex in ("", "F", "M")
        }

    def pick(self, place: int, *states: State) -> Evaluation | None:
        found = list(Evaluation.objects.filter(state__in=states).order_by("pk"))
        return found[place % len(found)] if found else None


def make_world() -> World:
    club = make_club()
    old = date(2010, 1, 1)
    return World(
        club=club,
        other_breed=make_breed(),
        dogs=[make_dog(club, born_on=old, sex="FM"[place % 2]) for place in range(4)],
    )


def do(world: World, deed: tuple[str, *tuple[object, ...]]) -> None:
    match deed:
        case ("submit", int(place), left, right, day):
            make_submitted(
                world.club,
                world.dogs[place],
                left=str(left),
                right=str(right),
                examined_on=day,
            )
        case ("accept" | "decline" as name, int(place)):
            if found := world.pick(place, State.SUBMITTED):
                decider = decide.accept if name == "accept" else decide.decline
                decider(by=world.club.registrar.actor, evaluation_id=found.public_id, reason="seen")
        case ("revoke", int(place)):
            if found := world.pick(place, State.ACCEPTED, State.REPLACED):
                make_revoked(world.club, found.public_id, reason="wrong")
        case ("replace", int(place), left, right):
            if found := world.pick(place, State.ACCEPTED):
                readings = [
                    {"trait": "hip-laxity", "side": "left", "value": left},
                    {"trait": "hip-laxity", "side": "right", "value": right},
                ]
                revoke.replace(
                    by=world.club.registrar.actor,
                    evaluation_id=found.public_id,
                    changes={"readings": readings},
                    reason="misread",
                )
        case ("correct", int(place), sex, breed):
            dog = Dog.objects.get(pk=world.dogs[place].pk)
            slug = (world.other_breed if breed else world.club.breed).slug
            facts = DogFacts(slug, dog.name, str(sex), dog.born_on, chip=dog.chip or "")
            correct_dog(
                by=world.club.registrar.actor,
                dog_id=dog.public_id,
                version=dog.version,
                facts=facts,
                reason="wrong before",
            )
        case ("window", int(months)):
            change_window(
                by=world.club.secretary.actor,
                breed_slug=world.club.breed.slug,
                window_months=months,
                reason="the club decided",
            )


@settings(
    max_examples=25,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(deeds=st.lists(DEEDS, min_size=1, max_size=14))
def test_any_sequence_leaves_the_counts_equal_to_a_rebuild(deeds: list[tuple[str, object]]) -> None:
    with transaction.atomic():
        world = make_world()
        for deed in deeds:
            do(world, deed)
            world.serve()

        seen = compare_distributions()
        assert (seen.cell_difference, seen.counted_difference) == (None, None)
        for instant, was_served in world.served:
            assert world.at(instant) == was_served
        served_before = world.now()
        rebuild_distributions(by=Actor.system())
        assert world.now() == served_before
        assert verify().is_whole
        # Leave no trace of one example in the next.
        transaction.set_rollback(True)


@pytest.fixture
def club() -> Club:
    return make_club()


class TestOneValueADog:
    def test_a_newer_examination_replaces_the_older(self, club: Club) -> None:
        dog = make_dog(club)
        older = make_accepted(club, dog, left="0.40", right="0.40", examined_on="2025-05-05")

        make_accepted(club, dog, left="0.30", right="0.30", examined_on="2026-05-05")

        older.evaluation.refresh_from_db()
        assert older.evaluation.state == State.REPLACED
        assert list(DistributionCell.objects.values_list("step", "dogs")) == [(30, 1)]

    def test_an_older_examination_accepted_later_does_not_count(self, club: Club) -> None:
        dog = make_dog(club)
        make_accepted(club, dog, left="0.30", right="0.30", examined_on="2026-05-05")

        late = make_accepted(club, dog, left="0.40", right="0.40", examined_on="2025-05-05")

        late.evaluation.refresh_from_db()
        assert late.evaluation.state == State.REPLACED
        assert list(DistributionCell.objects.values_list("step", "dogs")) == [(30, 1)]

    def test_it_is_replaced_only_when_none_of_its_traits_counts(self, club: Club) -> None:
        dog = make_dog(club)
        both = [
            {"trait": "hip-laxity", "side": "left", "value": "0.40"},
            {"trait": "norberg-angle", "side": "left", "value": "104.5"},
        ]
        first = make_accepted(club, dog, readings=both, examined_on="2025-05-05")

        make_accepted(club, dog, examined_on="2026-05-05")

        first.evaluation.refresh_from_db()
        assert first.evaluation.state == State.ACCEPTED

    def test_a_revocation_lets_the_earlier_result_count_again(self, club: Club) -> None:
        dog = make_dog(club)
        older = make_accepted(club, dog, left="0.40", right="0.40", examined_on="2025-05-05")
        newer = make_accepted(club, dog, left="0.30", right="0.30", examined_on="2026-05-05")

        make_revoked(club, newer.evaluation.public_id, reason="films of another dog")

        older.evaluation.refresh_from_db()
        assert older.evaluation.state == State.ACCEPTED
        assert list(DistributionCell.objects.values_list("step", "dogs")) == [(40, 1)]

    def test_a_corrected_result_never_comes_back(self, club: Club) -> None:
        wrong = make_accepted(club, left="0.40", right="0.40")
        right = revoke.replace(
            by=club.registrar.actor,
            evaluation_id=wrong.evaluation.public_id,
            changes={"readings": [{"trait": "hip-laxity", "side": "left", "value": "0.44"}]},
            reason="misread",
        )

        make_revoked(club, right.evaluation.public_id, reason="not this dog at all")

        wrong.evaluation.refresh_from_db()
        assert wrong.evaluation.state == State.REPLACED
        assert not DistributionCell.objects.exists()
        assert not CountedValue.objects.filter(counted_until__isnull=True).exists()


class TestTheWindow:
    def test_an_examination_before_the_window_is_kept_and_not_counted(self, club: Club) -> None:
        old_dog = make_dog(club, born_on=date(2010, 1, 1))

        make_accepted(club, old_dog, examined_on="2012-01-10")

        assert DistributionCell.objects.count() == 1
        trait = Trait.objects.get(slug="hip-laxity")
        assert distribution(breed=club.breed, trait=trait).histogram.n == 0

    def test_a_window_that_has_slid_is_answered_from_the_cells(self, club: Club) -> None:
        make_accepted(club)
        StoredHistogram.objects.update(last_month=date(2026, 1, 1), packed=b"stale")

        trait = Trait.objects.get(slug="hip-laxity")
        assert distribution(breed=club.breed, trait=trait).histogram.n == 1

    def test_a_past_date_is_answered_with_the_window_of_its_time(self, club: Club) -> None:
        make_accepted(club, make_dog(club, born_on=date(2015, 1, 1)), examined_on="2019-01-10")
        before = timezone.now()
        change_window(
            by=club.secretary.actor,
            breed_slug=club.breed.slug,
            window_months=12,
            reason="the club decided",
        )

        breed, trait = Breed.objects.get(), Trait.objects.get(slug="hip-laxity")

        assert distribution(breed=breed, trait=trait).histogram.n == 0
        assert distribution(breed=breed, trait=trait, as_of=before).histogram.n == 1
        earlier = before - timedelta(days=1)
        assert distribution(breed=breed, trait=trait, as_of=earlier).histogram.n == 0
