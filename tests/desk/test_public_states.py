"""What the public sees of the counts tells no withheld value: histories made up at random, and the
minute, the groups and the window one by one."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.desk.actor import Actor
from registry.desk.catalogue import change_window
from registry.desk.consent import change_consent
from registry.desk.distributions import compare_distributions
from registry.desk.dogs import DogFacts, correct_dog
from registry.desk.errors import DeskError
from registry.desk.merge import merge_dogs
from registry.desk.public_states import settle_when_due
from registry.desk.revoke import replace
from registry.models import CountedValue, Dog, Evaluation, State, Trait
from registry.queries.distributions import distribution, histogram_now
from registry.queries.public_states import state_as_of, state_now
from registry.science.distribution import Histogram
from tests.factories import (
    Club,
    make_accepted,
    make_club,
    make_dog,
    make_revoked,
)
from tests.reliability.numbers import times

pytestmark = pytest.mark.django_db

FEWEST = 5


class Clock:
    """The time that deeds and readers are told."""

    def __init__(self) -> None:
        self.at = datetime(2026, 11, 3, 9, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.at += timedelta(milliseconds=1)
        return self.at

    def wait(self, **long: float) -> None:
        self.at += timedelta(**long)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    monkeypatch.setattr(timezone, "now", clock)
    return clock


@pytest.fixture
def a_minute(settings: Any) -> None:
    settings.PUBLIC_STATE_SECONDS = 60


@pytest.fixture
def club(clock: Clock) -> Club:
    clock.wait(seconds=1)
    return make_club()


def laxity() -> Trait:
    return Trait.objects.get(slug="hip-laxity")


def accepted(club: Club, value: str, *, shown: bool = False, **members: Any) -> Evaluation:
    """An accepted result of a dog of its own, unless ``dog`` is given."""
    dog = members.pop("dog", None)
    sex = members.pop("sex", "F")
    readings = [{"trait": "hip-laxity", "side": side, "value": value} for side in ("left", "right")]
    return make_accepted(
        club,
        dog or make_dog(club, sex=sex),
        readings=readings,
        consent_to_publish=shown,
        **members,
    ).evaluation


def seen(club: Club, sex: str = "", as_of: datetime | None = None) -> list[tuple[int, int]]:
    found = distribution(breed=club.breed, trait=laxity(), sex=sex, as_of=as_of)
    return found.histogram.rows()


class TestGroups:
    def test_a_withheld_value_waits_until_five_can_come_in(self, club: Club) -> None:
        for value in ("0.30", "0.31", "0.32", "0.33"):
            accepted(club, value)
        before = seen(club)

        accepted(club, "0.34")

        assert before == []
        assert seen(club) == [(30, 1), (31, 1), (32, 1), (33, 1), (34, 1)]

    def test_those_who_keep_the_registry_see_it_at_once(self, club: Club) -> None:
        accepted(club, "0.30")

        assert histogram_now(breed=club.breed, trait=laxity()).n == 1

    def test_each_sex_has_groups_of_its_own(self, club: Club) -> None:
        for value in ("0.30", "0.31", "0.32"):
            accepted(club, value, sex="F")
        for value in ("0.30", "0.31"):
            accepted(club, value, sex="M")

        assert seen(club) == []

    def test_a_withheld_value_that_is_overtaken_leaves_with_four_others(self, club: Club) -> None:
        first = [accepted(club, f"0.3{n}") for n in range(5)]
        for n, each in enumerate(first[:4]):
            accepted(club, f"0.5{n}", dog=each.dog, examined_on="2026-11-01")
        waiting = seen(club)

        accepted(club, "0.54", dog=first[4].dog, examined_on="2026-11-01")

        assert waiting == [(30, 1), (31, 1), (32, 1), (33, 1), (34, 1)]
        assert seen(club) == [(50, 1), (51, 1), (52, 1), (53, 1), (54, 1)]

    def test_a_withheld_value_taken_back_leaves_with_four_others(self, club: Club) -> None:
        first = [accepted(club, f"0.3{n}") for n in range(5)]

        for each in first[:4]:
            make_revoked(club, each.public_id)
        waiting = seen(club)
        make_revoked(club, first[4].public_id)

        assert len(waiting) == 5
        assert seen(club) == []

    def test_a_released_value_comes_and_goes_alone(self, club: Club) -> None:
        evaluation = accepted(club, "0.30", shown=True)
        came = seen(club)
        make_revoked(club, evaluation.public_id)

        assert came == [(30, 1)]
        assert seen(club) == []

    def test_the_window_leaves_withheld_values_behind_in_groups(
        self, club: Club, clock: Clock
    ) -> None:
        for n in range(4):
            accepted(club, f"0.3{n}", examined_on="2026-10-02")
        accepted(club, "0.34", examined_on="2026-11-02")
        accepted(club, "0.60", shown=True, examined_on="2026-10-02")
        change_window(
            by=club.secretary.actor, breed_slug=club.breed.slug, window_months=2, reason="shorter"
        )
        club.breed.refresh_from_db()
        clock.wait(days=30)

        settle_when_due()
        without_october = seen(club)
        clock.wait(days=31)
        settle_when_due()

        assert without_october == [(30, 1), (31, 1), (32, 1), (33, 1), (34, 1)]
        assert seen(club) == []

    def test_a_longer_window_takes_back_what_had_left(self, club: Club, clock: Clock) -> None:
        accepted(club, "0.60", shown=True, examined_on="2026-08-02")
        for months in (1, 120):
            change_window(
                by=club.secretary.actor,
                breed_slug=club.breed.slug,
                window_months=months,
                reason="tried",
            )
            clock.wait(minutes=2)

        assert seen(club) == [(60, 1)]
        assert seen(club, as_of=clock.at - timedelta(minutes=3)) == []


class TestConsent:
    def test_a_waiting_value_comes_in_alone_once_it_is_released(self, club: Club) -> None:
        evaluations = [accepted(club, f"0.3{n}") for n in range(3)]

        change_consent(by=owner(), evaluation_id=evaluations[1].public_id, publish=True)

        assert seen(club) == [(31, 1)]

    def test_releasing_a_value_of_a_group_moves_nothing(self, club: Club) -> None:
        evaluations = [accepted(club, f"0.3{n}") for n in range(5)]
        before = seen(club)

        change_consent(by=owner(), evaluation_id=evaluations[1].public_id, publish=True)

        assert seen(club) == before

    def test_a_value_shown_before_goes_with_five_others_and_is_no_fifth(self, club: Club) -> None:
        once_shown = accepted(club, "0.60", shown=True)
        others = [accepted(club, f"0.3{n}") for n in range(5)]
        change_consent(by=owner(), evaluation_id=once_shown.public_id, publish=False)
        for each in (once_shown, *others[:4]):
            make_revoked(club, each.public_id)
        waiting = len(seen(club))

        make_revoked(club, others[4].public_id)

        assert waiting == 6
        assert seen(club) == []

    def test_the_next_value_of_a_dog_no_longer_shown_waits(self, club: Club) -> None:
        evaluation = accepted(club, "0.30", shown=True)
        change_consent(by=owner(), evaluation_id=evaluation.public_id, publish=False)

        accepted(club, "0.50", dog=evaluation.dog, examined_on="2026-11-01")

        assert seen(club) == [(30, 1)]

    @pytest.mark.usefixtures("a_minute")
    def test_a_group_that_is_yet_to_come_is_gathered_anew(self, club: Club, clock: Clock) -> None:
        accepted(club, "0.60", shown=True)
        evaluations = [accepted(club, f"0.3{n}") for n in range(5)]

        change_consent(by=owner(), evaluation_id=evaluations[1].public_id, publish=True)
        clock.wait(seconds=61)

        assert seen(club) == [(31, 1), (60, 1)]


@pytest.mark.usefixtures("a_minute")
class TestTheMinute:
    def test_the_first_is_public_at_once_and_the_next_when_a_minute_is_over(
        self, club: Club, clock: Clock
    ) -> None:
        accepted(club, "0.30", shown=True)
        at_once = seen(club)
        clock.wait(seconds=10)
        accepted(club, "0.31", shown=True)
        accepted(club, "0.32", shown=True, sex="M")
        too_early = seen(club)
        clock.wait(seconds=60)

        assert at_once == too_early == [(30, 1)]
        assert seen(club) == [(30, 1), (31, 1), (32, 1)]

    def test_no_two_states_lie_closer_than_a_minute(self, club: Club, clock: Clock) -> None:
        for n in range(8):
            accepted(club, f"0.3{n}", shown=True, sex="FM"[n % 2])
            clock.wait(seconds=17)

        moments = sorted(
            {row.public_from for row in CountedValue.objects.all() if row.public_from is not None}
        )

        assert len(moments) > 1
        assert all(later - earlier >= timedelta(minutes=1) for earlier, later in pairwise(moments))


def owner() -> Actor:
    return Actor.system()


# --- histories made up at random ---

VALUES = st.sampled_from(["0.20", "0.31", "0.45", "0.46", "0.90"])
DAYS = st.sampled_from(["2025-06-30", "2026-09-30", "2026-10-02", "2026-11-01"])
EXAMINED = st.tuples(
    st.just("examine"), st.integers(0, 9), st.sampled_from([0, 0, 0, 1]), VALUES, DAYS
)
DEEDS = st.one_of(
    EXAMINED,
    EXAMINED,
    EXAMINED,
    st.tuples(st.just("consent"), st.integers(0, 30)),
    st.tuples(st.just("revoke"), st.integers(0, 30)),
    st.tuples(st.just("replace"), st.integers(0, 30), VALUES),
    st.tuples(st.just("merge"), st.integers(0, 9), st.integers(0, 9)),
    st.tuples(st.just("sex"), st.integers(0, 9)),
    st.tuples(st.just("window"), st.sampled_from([1, 3, 24, 120])),
    st.tuples(st.just("wait"), st.sampled_from([20, 61, 86_400 * 3, 86_400 * 31])),
)


@dataclass
class World:
    """A small club, what was done, and when each result was shown to everybody."""

    club: Club
    clock: Clock
    dogs: list[Dog]
    shown_since: dict[int, datetime] = field(default_factory=dict)
    served: list[tuple[datetime, dict[str, list[tuple[int, int]]]]] = field(default_factory=list)

    def do(self, deed: tuple[Any, ...]) -> None:
        kind, *rest = deed
        before = self.clock.at
        try:
            with transaction.atomic():
                getattr(self, kind)(*rest)
        except DeskError:
            # Refused deeds are part of life.
            pass
        self.clock.wait(seconds=7)
        for pk in Evaluation.objects.filter(
            consent_to_publish=True, state__in=(State.ACCEPTED, State.REPLACED, State.REVOKED)
        ).values_list("pk", flat=True):
            self.shown_since.setdefault(pk, before)
        served = {sex: seen(self.club, sex) for sex in ("", "F", "M")}
        self.served.append((self.clock.at, served))

    def examine(self, dog: int, is_shown: int, value: str, day: str) -> None:
        accepted(self.club, value, dog=self.dog(dog), shown=bool(is_shown), examined_on=day)

    def consent(self, place: int) -> None:
        if each := self.evaluation(place):
            change_consent(
                by=owner(), evaluation_id=each.public_id, publish=not each.consent_to_publish
            )

    def revoke(self, place: int) -> None:
        if each := self.evaluation(place):
            make_revoked(self.club, each.public_id)

    def replace(self, place: int, value: str) -> None:
        if each := self.evaluation(place):
            readings = [
                {"trait": "hip-laxity", "side": side, "value": value} for side in ("left", "right")
            ]
            replace(
                by=self.club.registrar.actor,
                evaluation_id=each.public_id,
                changes={"readings": readings},
                reason="misread",
            )

    def merge(self, keep: int, drop: int) -> None:
        merge_dogs(
            by=self.club.registrar.actor,
            keep=self.dog(keep).public_id,
            drop=self.dog(drop).public_id,
            versions=None,
            reason="one dog",
            confirmed=("birth-date", "chips"),
        )
        self.dogs = list(Dog.objects.filter(breed=self.club.breed).order_by("pk"))

    def sex(self, place: int) -> None:
        dog = Dog.objects.get(pk=self.dog(place).pk)
        facts = DogFacts(
            breed=self.club.breed.slug,
            name=dog.name,
            sex="M" if dog.sex == "F" else "F",
            born_on=dog.born_on,
            chip=dog.chip or "",
        )
        correct_dog(
            by=self.club.registrar.actor,
            dog_id=dog.public_id,
            facts=facts,
            version=dog.version,
            reason="looked",
        )

    def window(self, months: int) -> None:
        change_window(
            by=self.club.secretary.actor,
            breed_slug=self.club.breed.slug,
            window_months=months,
            reason="tried",
        )
        self.club.breed.refresh_from_db()

    def wait(self, seconds: int) -> None:
        self.clock.wait(seconds=seconds)
        settle_when_due()

    def dog(self, place: int) -> Dog:
        return self.dogs[place % len(self.dogs)]

    def evaluation(self, place: int) -> Evaluation | None:
        rows = list(Evaluation.objects.filter(state=State.ACCEPTED).order_by("pk"))
        return rows[place % len(rows)] if rows else None


def told_apart(world: World) -> list[tuple[str, str, datetime, int]]:
    """Per sex and moment, how many values came or went that were not shown by then, where they are
    some but fewer than five."""
    moved: Counter[tuple[str, str, datetime]] = Counter()
    for row in CountedValue.objects.all():
        shown = world.shown_since.get(row.evaluation_id, world.clock.at)
        for kind, at in (("came", row.public_from), ("went", row.public_until)):
            was_in = row.public_from is not None and row.public_from != row.public_until
            if at is not None and at <= world.clock.at and was_in and at < shown:
                moved[kind, row.sex, at] += 1
    return [(*key, count) for key, count in moved.items() if count < FEWEST]


def check(world: World) -> None:
    trait = laxity()
    assert told_apart(world) == []
    for at, served in world.served:
        if at + timedelta(minutes=1) < world.clock.at:
            again = {sex: seen(world.club, sex, as_of=at) for sex in served}
            assert again == served, "a state that was served must stay as it was"
        both = Histogram.of_counts([*served["F"], *served["M"]])
        assert both.rows() == served[""]
    now = timezone.now()
    packed = state_now(world.club.breed.pk, trait.pk, now=now)
    assert packed.by_sex.get("F", Histogram.empty()) == state_as_of(
        world.club.breed.pk, trait.pk, now
    ).of("F")
    seen_anew = compare_distributions()
    assert seen_anew.agrees
    assert not seen_anew.public_faults


@settings(
    max_examples=times(soak=100, short=4),
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(deeds=st.lists(DEEDS, min_size=15, max_size=35), minute=st.sampled_from([0, 60]))
def test_no_history_tells_fewer_than_five_withheld_values_apart(
    deeds: list[tuple[Any, ...]], minute: int, clock: Clock, settings: Any
) -> None:
    settings.PUBLIC_STATE_SECONDS = minute
    with transaction.atomic():
        club = make_club()
        world = World(club, clock, [make_dog(club, sex="FFFM"[n % 4]) for n in range(10)])
        for n in range(8):
            world.do(("examine", n, 0, "0.31", "2026-10-02"))
        for deed in deeds:
            world.do(deed)
        clock.wait(minutes=3)

        check(world)
        transaction.set_rollback(True)
