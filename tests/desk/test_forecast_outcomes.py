"""A breeding run keeps what was forecast of new litters, and holds it against what came."""

from __future__ import annotations

import json
from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from registry.desk import breeding
from registry.desk.actor import Actor
from registry.desk.forecast_agreement import check_forecasts
from registry.desk.forecast_outcomes import FEWEST_WITHHELD, MEMBER, Members, next_members
from registry.models import (
    BreedingRun,
    Dog,
    DogAlias,
    Evaluation,
    ForecastCheck,
    KeptForecast,
    LedgerEntry,
)
from registry.queries.breeding import run_table
from registry.queries.pairs import pair
from registry.queries.public_dogs import public_dog
from tests.bred import Bred, examine_young, make_bred, make_young
from tests.factories import Club, make_club

pytestmark = pytest.mark.django_db

LAXITY = "hip-laxity"


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def bred(club: Club) -> Bred:
    return make_bred(club, generations=2, litters=8)


def run_now(club: Club, *, on: date | None = None) -> BreedingRun:
    """A run of the breed, as if it had been finished on that day."""
    run = breeding.ask_for_run(by=Actor.system(), breed_slug=club.breed.slug)
    assert run.error == ""
    if on is not None:
        at = timezone.now().replace(year=on.year, month=on.month, day=on.day)
        BreedingRun.objects.filter(pk=run.pk).update(finished_at=at)
    return run


def kept() -> list[KeptForecast]:
    return list(KeptForecast.objects.filter(trait__slug=LAXITY).order_by("pk"))


def newest_check() -> ForecastCheck:
    return ForecastCheck.objects.filter(trait__slug=LAXITY).order_by("-run__number")[0]


def members() -> Members:
    return np.frombuffer(bytes(newest_check().members), dtype=MEMBER)


BORN = date(2023, 3, 1)
BEFORE = date(2022, 12, 1)
ON_16TH_WEEK = BORN + timedelta(weeks=16)


class TestKeeping:
    def test_a_litter_is_kept_as_the_pages_of_the_run_before_showed_it(
        self, club: Club, bred: Bred
    ) -> None:
        sire, dam = bred.pair()
        first = run_now(club, on=BEFORE)
        found = [public_dog(dog.public_id) for dog in (sire, dam)]
        assert found[0] is not None
        assert found[1] is not None
        shown = next(
            each for each in pair(found[0], found[1]).traits if each.facts.trait.slug == LAXITY
        )
        make_young(sire, dam, BORN)

        second = run_now(club)

        (own,) = kept()
        assert shown.forecast is not None
        assert (own.sire, own.dam, own.born_on) == (sire.public_id, dam.public_id, BORN)
        assert (own.run, own.kept_in) == (first, second)
        assert own.mean == shown.forecast.mean
        assert own.base == shown.facts.base
        for name in ("parent", "mendelian", "litter", "residual"):
            assert getattr(own, f"{name}_variance") == getattr(shown.forecast, f"{name}_variance")
        assert own.inbreeding == pytest.approx(shown.forecast.inbreeding, abs=1e-12)

    def test_the_first_run_of_a_breed_keeps_none(self, club: Club, bred: Bred) -> None:
        run_now(club, on=BEFORE)

        assert kept() == []

    def test_a_litter_is_kept_once_and_never_changed(self, club: Club, bred: Bred) -> None:
        run_now(club, on=BEFORE)
        young = make_young(*bred.pair(), BORN)
        run_now(club)
        before = list(KeptForecast.objects.values())
        examine_young(club, young, [0.9] * 6)
        make_young(*bred.pair(), BORN)

        for _time in range(3):
            run_now(club)

        assert list(KeptForecast.objects.values()) == before

    def test_a_run_that_held_the_puppies_results_is_never_used(
        self, club: Club, bred: Bred
    ) -> None:
        """Hindsight: registered and examined before the only run that knew the parents."""
        young = make_young(*bred.pair(), BORN)
        examine_young(club, young, [0.9] * 6)
        run_now(club, on=BEFORE)

        run_now(club)

        assert kept() == []

    def test_nor_for_a_litter_mate_who_is_registered_later(self, club: Club, bred: Bred) -> None:
        """Even with another day of birth, or another sire, on record."""
        sire, dam = bred.pair()
        other = next(dog for dog in reversed(bred.dogs) if dog.sex == "M" and dog != sire)
        examine_young(club, make_young(sire, dam, BORN), [0.9] * 6)
        run_now(club, on=BEFORE)
        make_young(sire, dam, BORN + timedelta(days=1))
        make_young(other, dam, BORN)

        run_now(club)

        assert kept() == []

    @pytest.mark.parametrize(("late", "many"), [(-1, 1), (0, 0)])
    def test_a_run_by_which_the_puppies_were_16_weeks_old_is_too_late(
        self, club: Club, bred: Bred, late: int, many: int
    ) -> None:
        run_now(club, on=ON_16TH_WEEK + timedelta(days=late))
        make_young(*bred.pair(), BORN)

        run_now(club)

        assert len(kept()) == many

    def test_a_litter_that_was_registered_late_is_kept_from_an_earlier_run_in_time(
        self, club: Club, bred: Bred
    ) -> None:
        first = run_now(club, on=BEFORE)
        run_now(club, on=ON_16TH_WEEK)
        make_young(*bred.pair(), BORN)

        run_now(club)

        assert [own.run for own in kept()] == [first]

    def test_none_is_kept_that_no_page_showed(self, club: Club, bred: Bred) -> None:
        """A parent's result was withheld; it is released after the litter was born."""
        run_now(club, on=BEFORE)
        sire, dam = bred.pair()
        Evaluation.objects.filter(dog=sire).update(consent_to_publish=False)
        make_young(sire, dam, BORN)
        run_now(club)
        Evaluation.objects.filter(dog=sire).update(consent_to_publish=True)

        run_now(club)

        assert kept() == []

    def test_a_parent_that_came_after_the_run_had_no_forecast(self, club: Club, bred: Bred) -> None:
        run_now(club, on=BEFORE)
        sire, dam = bred.pair()
        new = make_young(sire, dam, BORN - timedelta(days=700))[1]
        make_young(sire, new, BORN)

        run_now(club)

        assert kept() == []

    def test_grades_are_not_kept_as_if_they_were_numbers(self, club: Club) -> None:
        bred = make_bred(club, generations=2, litters=8, elbow=60)
        run_now(club, on=BEFORE)
        make_young(*bred.pair(), BORN)

        run_now(club)

        assert not KeptForecast.objects.filter(trait__slug="elbow-grade").exists()
        assert not ForecastCheck.objects.filter(trait__slug="elbow-grade").exists()
        assert len(kept()) == 1


class TestComparing:
    @pytest.fixture
    def young(self, club: Club, bred: Bred) -> list[Dog]:
        run_now(club, on=BEFORE)
        young = make_young(*bred.pair(), BORN)
        run_now(club)
        return young

    def test_a_puppys_record_stands_beside_its_litters_forecast(
        self, club: Club, young: list[Dog]
    ) -> None:
        examine_young(club, young[:2], [0.41, 0.57])

        run_now(club)

        assert members()["dog"].tolist() == [dog.pk for dog in young[:2]]
        assert members()["record"].tolist() == pytest.approx([0.41, 0.57])
        assert set(members()["forecast"].tolist()) == {kept()[0].pk}
        check = newest_check()
        assert (check.puppies, check.litters, check.found) == (2, 1, {})

    def test_nothing_is_compared_before_a_puppy_is_tested(self, young: list[Dog]) -> None:
        assert newest_check().puppies == 0

    def test_a_puppy_that_turns_out_to_be_another_pairs_is_compared_no_more(
        self, club: Club, bred: Bred, young: list[Dog]
    ) -> None:
        examine_young(club, young[:2], [0.41, 0.57])
        other = next(dog for dog in bred.dogs if dog.sex == "M" and dog != young[0].sire)
        Dog.objects.filter(pk=young[0].pk).update(sire=other)

        run_now(club)

        assert members()["dog"].tolist() == [young[1].pk]

    def test_a_day_of_birth_that_is_corrected_takes_no_litter_out(
        self, club: Club, young: list[Dog]
    ) -> None:
        examine_young(club, young[:2], [0.41, 0.57])
        Dog.objects.filter(pk__in=[dog.pk for dog in young]).update(
            born_on=BORN - timedelta(days=3)
        )

        run_now(club)

        assert newest_check().puppies == 2

    def test_a_dog_that_the_run_knew_is_no_puppy_of_its_forecast(
        self, club: Club, bred: Bred, young: list[Dog]
    ) -> None:
        """Hindsight by correction: a dog of old, with a result of old, gets these parents."""
        old = next(dog for dog in bred.dogs[-6:] if dog.pk != young[0].sire_id)
        Dog.objects.filter(pk=old.pk).update(
            sire=young[0].sire, dam=young[0].dam, born_on=young[0].born_on
        )
        examine_young(club, young[:1], [0.41])

        run_now(club)

        assert members()["dog"].tolist() == [young[0].pk]

    def test_a_dog_into_whose_entry_an_older_one_was_merged_is_left_out(
        self, club: Club, bred: Bred, young: list[Dog]
    ) -> None:
        """Its result may be the older entry's, which the run knew."""
        examine_young(club, young[:1], [0.41])
        examine_young(club, young[1:2], [0.7])
        DogAlias.objects.create(dog=young[1], public_id="anolderentry")

        run_now(club)

        assert members()["dog"].tolist() == [young[0].pk]

    def test_a_parent_that_was_merged_into_another_entry_is_followed(
        self, club: Club, bred: Bred, young: list[Dog]
    ) -> None:
        dam = young[0].dam
        assert dam is not None
        DogAlias.objects.create(dog=dam, public_id=dam.public_id)
        Dog.objects.filter(pk=dam.pk).update(public_id="theentrythatstays"[:16])
        examine_young(club, young[:2], [0.41, 0.57])

        run_now(club)

        assert newest_check().puppies == 2

    def test_withheld_results_wait_until_they_are_five(self, club: Club, young: list[Dog]) -> None:
        examine_young(club, young[:1], [0.41])
        examine_young(club, young[1:5], [0.5, 0.6, 0.7, 0.8], is_released=False)
        run_now(club)
        assert newest_check().puppies == 1
        examine_young(club, young[5:], [0.9], is_released=False)

        run_now(club)

        assert newest_check().puppies == 6

    def test_only_the_newest_members_are_held(self, club: Club, young: list[Dog]) -> None:
        examine_young(club, young[:2], [0.41, 0.57])
        run_now(club)
        run_now(club)

        held = ForecastCheck.objects.filter(trait__slug=LAXITY).order_by("run__number")
        assert [bool(each.members) for each in held] == [False, False, False, True]

    def test_enough_litters_give_numbers(self, club: Club) -> None:
        bred = make_bred(club, generations=2, litters=12)
        run_now(club, on=BEFORE)
        for number in range(24):
            young = make_young(*bred.pair(number), BORN + timedelta(days=number))
            examine_young(club, young[:3], [0.45, 0.5, 0.55])

        run_now(club)

        check = newest_check()
        assert (check.puppies, check.litters) == (72, 24)
        assert set(check.found) == {"inside", "lean", "sd", "slope", "parts", "later"}
        assert sum(check.found["parts"]) == 72
        assert check.found["later"]["dogs"] == 72
        said = {own.pk: own.mean for own in kept()}
        lean = np.mean([row["record"] - said[int(row["forecast"])] for row in members()])
        assert check.found["lean"][0] == pytest.approx(lean, abs=1e-4)


# Of a few dogs: the record of each, or None where there is none, and whether it is released.
_STATE = st.dictionaries(
    st.integers(1, 14),
    st.tuples(st.sampled_from([0.3, 0.4, 0.5]), st.booleans()),
    max_size=14,
)


def _rows(state: dict[int, tuple[float, bool]]) -> Members:
    rows = [(dog, 1, record, is_open) for dog, (record, is_open) in sorted(state.items())]
    return np.array(rows, dtype=MEMBER)


def _keys(of: Members) -> set[tuple[int, float]]:
    return {(int(row["dog"]), float(row["record"])) for row in of}


class TestWhatMayBeSubtracted:
    @given(states=st.lists(_STATE, min_size=1, max_size=12))
    def test_what_released_results_do_not_explain_is_nothing_or_five_dogs(
        self, states: list[dict[int, tuple[float, bool]]]
    ) -> None:
        """What anybody knows are the results that were ever open while they counted."""
        shown = np.empty(0, dtype=MEMBER)
        known: set[tuple[int, float]] = set()
        for state in states:
            now = _rows(state)
            known |= _keys(now[now["is_released"]])
            following = next_members(shown, now)

            changed = _keys(following) ^ _keys(shown)
            withheld = changed - known
            assert not withheld or len({dog for dog, _record in changed}) >= FEWEST_WITHHELD
            shown = following

    @given(before=_STATE, now=_STATE)
    def test_every_released_result_counts_at_once(
        self,
        before: dict[int, tuple[float, bool]],
        now: dict[int, tuple[float, bool]],
    ) -> None:
        shown = next_members(np.empty(0, dtype=MEMBER), _rows(before))

        following = next_members(shown, _rows(now))

        assert {(dog, record) for dog, (record, is_open) in now.items() if is_open} <= _keys(
            following
        )
        assert len(_keys(following)) == len(following)


class TestTheWitness:
    @pytest.fixture(autouse=True)
    def _kept(self, club: Club, bred: Bred) -> None:
        run_now(club, on=BEFORE)
        make_young(*bred.pair(), BORN)
        run_now(club)

    def test_rows_as_they_were_written_agree(self) -> None:
        entry = LedgerEntry.objects.filter(action="breeding.run").order_by("-seq")[0]

        assert json.loads(entry.body)["values"]["forecasts_kept"]["to"] == 1
        assert list(check_forecasts()) == []

    @pytest.mark.parametrize(
        ("sql", "kind"),
        [
            ("UPDATE registry_keptforecast SET mean = mean + 0.001", "edited"),
            ("UPDATE registry_keptforecast SET born_on = '2023-03-02'", "edited"),
            ("UPDATE registry_keptforecast SET last_dog = 0", "edited"),
            ("DELETE FROM registry_keptforecast", "edited"),
            ("UPDATE registry_forecastcheck SET puppies = 412", "edited"),
        ],
    )
    def test_a_row_that_was_changed_past_the_registry_is_named(self, sql: str, kind: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql)

        assert {damage.kind for damage in check_forecasts()} == {kind}

    def test_a_forecast_that_was_added_to_an_earlier_run_is_named(self, club: Club) -> None:
        own = kept()[0]
        own.pk, own.kept_in, own.born_on = None, own.run, BORN - timedelta(days=400)
        own.save()

        assert [damage.field for damage in check_forecasts()] == ["forecasts_sha256"]


def test_the_columns_of_a_run_are_read_before_they_are_let_go(club: Club, bred: Bred) -> None:
    first = run_now(club, on=BEFORE)
    run_now(club, on=ON_16TH_WEEK)
    run_table.cache_clear()
    make_young(*bred.pair(), BORN)

    run_now(club)

    assert [own.run for own in kept()] == [first]
    assert not first.columns.exists()
