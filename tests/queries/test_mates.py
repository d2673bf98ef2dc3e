"""Candidate mates: who is among them, in which order, and what is never told of them."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from registry.desk import consent, dogs
from registry.desk.actor import Actor
from registry.models import Dog
from registry.queries.mates import MatesFound, MateWishes, is_alive, mates, months_before
from registry.queries.pairs import NoAnswer, Why
from registry.queries.public import PublicDog
from registry.queries.public_dogs import public_dog
from tests.breeding import TraitColumns, make_run
from tests.factories import Club, make_accepted, make_breed, make_club, make_dog, make_revoked

pytestmark = pytest.mark.django_db

TODAY = date(2026, 11, 25)
ANY = MateWishes(most_kinship=None, youngest_months=None, oldest_months=None)


@pytest.fixture
def club() -> Club:
    return make_club()


def seen(dog: Dog) -> PublicDog:
    found = public_dog(dog.public_id)
    assert found is not None
    return found


def ask(dog: Dog, wishes: MateWishes = ANY, trait: str = "hip-laxity", **more: Any) -> MatesFound:
    return mates(seen(dog), trait=trait, wishes=wishes, today=TODAY, **more)


def names(found: MatesFound) -> list[str]:
    return [row.name for row in found.rows]


def bitch(club: Club, **facts: Any) -> Dog:
    return make_dog(club, name="Tarnfold Juno", **facts)


def male(club: Club, name: str, **facts: Any) -> Dog:
    return make_dog(club, name=name, sex="M", **facts)


class TestTheOrder:
    def test_it_begins_with_the_best_litter_where_lower_is_better(self, club: Club) -> None:
        juno = bitch(club)
        tight, loose = male(club, "Tight"), male(club, "Loose")
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value={tight: -0.1, loose: 0.1})})

        assert names(ask(juno)) == ["Tight", "Loose"]

    def test_it_begins_with_the_best_litter_where_higher_is_better(self, club: Club) -> None:
        juno = bitch(club)
        wide, narrow = male(club, "Wide"), male(club, "Narrow")
        columns = TraitColumns(value={wide: 2.0, narrow: -3.0}, base=103.0, middle=104.0)
        make_run(club.breed, traits={"norberg-angle": columns})

        assert names(ask(juno, trait="norberg-angle")) == ["Wide", "Narrow"]

    def test_of_equal_litters_the_less_related_comes_first(self, club: Club) -> None:
        sire = male(club, "Grandsire", born_on=date(2012, 5, 1), died_on=date(2024, 1, 1))
        half = male(club, "Half brother", sire=sire.public_id)
        stranger = male(club, "Stranger")
        juno = bitch(club, sire=sire.public_id)
        make_run(club.breed)

        assert names(ask(juno)) == [stranger.name, half.name]

    @pytest.mark.parametrize("seed", [1, 2, 3])
    def test_it_is_that_of_a_plain_loop_over_a_whole_small_breed(
        self, club: Club, seed: int
    ) -> None:
        chance = random.Random(seed)
        everybody = _small_breed(club, chance)
        value = {dog: chance.gauss(0, 0.05) for dog in everybody}
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value=value)})
        juno = next(dog for dog in reversed(everybody) if dog.sex == "F" and not dog.died_on)
        kinship = _kinships(everybody)
        of_age = [
            dog
            for dog in everybody
            if dog.sex == "M"
            and dog.died_on is None
            and date(2016, 11, 25) <= dog.born_on <= date(2025, 5, 25)
        ]
        limit = sorted(kinship[juno.pk, dog.pk] for dog in of_age)[len(of_age) // 2]

        found = ask(juno, MateWishes(limit, False, False, 18, 120), most=100)

        expected = sorted(
            (dog for dog in of_age if kinship[juno.pk, dog.pk] <= limit), key=lambda dog: value[dog]
        )
        assert 1 < len(expected) <= len(of_age)
        assert names(found) == [dog.name for dog in expected]
        assert [row.kinship for row in found.rows] == pytest.approx(
            [kinship[juno.pk, dog.pk] for dog in expected]
        )


class TestWhoIsAmongThem:
    def test_the_other_sex_of_the_breed_alive_and_not_long_born(self, club: Club) -> None:
        juno = bitch(club)
        male(club, "Candidate")
        bitch(club)
        male(club, "Dead", died_on=date(2025, 1, 1))
        male(club, "Born long ago", born_on=date(2011, 11, 25))
        male(replace(club, breed=make_breed()), "Of another breed")
        make_run(club.breed)
        male(club, "Came after the run")

        found = ask(juno)

        assert names(found) == ["Candidate"]
        assert (found.matching, found.total) == (1, 1)

    @pytest.mark.parametrize(
        ("wishes", "expected"),
        [
            (replace(ANY, youngest_months=24), ["Old", "Grown"]),
            (replace(ANY, oldest_months=48), ["Grown", "Young"]),
            (replace(ANY, youngest_months=24, oldest_months=48), ["Grown"]),
        ],
    )
    def test_those_of_the_age_asked_for(
        self, club: Club, wishes: MateWishes, expected: list[str]
    ) -> None:
        juno = bitch(club)
        old = male(club, "Old", born_on=date(2018, 1, 1))
        # To the day four years and to the day two years old.
        grown = male(club, "Grown", born_on=date(2022, 11, 25))
        young = male(club, "Young", born_on=date(2024, 11, 26))
        value = {old: -0.3, grown: -0.2, young: -0.1}
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value=value)})

        found = ask(juno, wishes)

        assert names(found) == expected
        assert found.total == 3

    def test_those_not_too_closely_related(self, club: Club) -> None:
        sire = male(club, "Sire", born_on=date(2019, 5, 1))
        male(club, "Half brother", sire=sire.public_id)
        male(club, "Stranger")
        juno = bitch(club, sire=sire.public_id)
        make_run(club.breed)

        assert names(ask(juno, replace(ANY, most_kinship=0.124))) == ["Stranger"]
        assert set(names(ask(juno, replace(ANY, most_kinship=0.125)))) == {
            "Stranger", "Half brother"
        }  # fmt: skip

    def test_those_with_a_result_to_show(self, club: Club) -> None:
        juno = bitch(club)
        tested, untested = male(club, "Tested"), male(club, "Untested")
        certificate = make_accepted(club, tested)
        make_run(club.breed, traits={"hip-laxity": TraitColumns(record={tested: 0.33})})
        only_tested = replace(ANY, only_tested=True)

        assert names(ask(juno, only_tested)) == ["Tested"]

        make_revoked(club, certificate.evaluation.public_id, reason="the wrong dog")
        assert names(ask(juno, only_tested)) == []
        assert untested.name in names(ask(juno))

    def test_those_no_worse_than_the_middle_dog(self, club: Club) -> None:
        juno = bitch(club)
        same, worse, unknown = (male(club, name) for name in ("Same", "Worse", "Unknown"))
        for dog in (same, worse):
            make_accepted(club, dog)
        columns = TraitColumns(record={same: 0.44, worse: 0.445}, middle=0.44)
        make_run(club.breed, traits={"hip-laxity": columns})

        found = ask(juno, replace(ANY, no_worse_than_middle=True))

        assert names(found) == ["Same"]
        assert found.total == 3
        assert unknown.name not in names(found)

    @pytest.mark.parametrize("typed", ["otto", "FÉLLGATE", "gate ott", "ot", "otto fell"])
    def test_those_with_the_words_in_their_name(self, club: Club, typed: str) -> None:
        juno = bitch(club)
        male(club, "Fellgate Otto")
        male(club, "Mosedale Rook")
        make_run(club.breed)

        assert names(ask(juno, replace(ANY, name=typed))) == ["Fellgate Otto"]

    @pytest.mark.parametrize("typed", ['"', "%", "_", "AND", "x OR y", "\x00", "*", "nobody"])
    def test_strange_words_find_nobody_and_break_nothing(self, club: Club, typed: str) -> None:
        juno = bitch(club)
        male(club, "Fellgate Otto")
        make_run(club.breed)

        assert names(ask(juno, replace(ANY, name=typed))) == []


class TestTheRegisterIsAskedAsItIsToday:
    def test_a_dog_that_died_since_is_gone_at_the_next_look(self, club: Club) -> None:
        juno, otto = bitch(club), male(club, "Otto")
        make_run(club.breed)
        assert names(ask(juno)) == ["Otto"]

        correct(club, otto, died_on=date(2026, 11, 1))

        assert names(ask(juno)) == []

    def test_a_dog_that_left_the_breed_is_gone(self, club: Club) -> None:
        juno, otto = bitch(club), male(club, "Otto")
        make_run(club.breed)
        assert names(ask(juno)) == ["Otto"]

        correct(club, otto, breed=make_breed().slug)

        assert names(ask(juno)) == []

    def test_a_corrected_sex_and_day_of_birth_hold_at_once(self, club: Club) -> None:
        juno, wren, rook = bitch(club), make_dog(club, name="Wren"), male(club, "Rook")
        make_run(club.breed)
        assert names(ask(juno)) == ["Rook"]

        correct(club, wren, sex="M")
        correct(club, rook, born_on=date(2026, 1, 1))

        assert names(ask(juno, replace(ANY, youngest_months=18))) == ["Wren"]

    def test_a_withheld_result_takes_the_dog_out_at_once_and_back_again(self, club: Club) -> None:
        juno, otto = bitch(club), male(club, "Otto")
        certificate = make_accepted(club, otto)
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value={otto: -0.1})})
        assert names(ask(juno)) == ["Otto"]

        for publish, expected in ((False, []), (True, ["Otto"])):
            consent.change_consent(
                by=Actor.system(), evaluation_id=certificate.evaluation.public_id, publish=publish
            )
            found = ask(juno)
            assert names(found) == expected
            assert found.withheld == 1 - len(expected)

    def test_more_changes_than_are_followed_singly_are_read_anew(
        self, club: Club, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("registry.queries.dogs_today._MOST_CHANGES", 1)
        juno, otto, rook = bitch(club), male(club, "Otto"), male(club, "Rook")
        make_run(club.breed)
        assert names(ask(juno)) == ["Otto", "Rook"]

        correct(club, otto, died_on=date(2026, 11, 1))
        correct(club, rook, died_on=date(2026, 11, 1))

        assert names(ask(juno)) == []


class TestWhatIsWithheld:
    def test_a_dog_whose_result_is_not_released_is_not_ranked(self, club: Club) -> None:
        juno, otto, rook = bitch(club), male(club, "Otto"), male(club, "Rook")
        make_accepted(club, otto, consent_to_publish=False)
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value={otto: -0.2, rook: 0.1})})

        found = ask(juno)

        assert names(found) == ["Rook"]
        assert (found.total, found.withheld, found.close) == (1, 1, 0)

    def test_it_is_ranked_by_a_trait_that_was_not_looked_at(self, club: Club) -> None:
        juno, otto = bitch(club), male(club, "Otto")
        make_accepted(club, otto, consent_to_publish=False)
        make_run(club.breed, traits={"norberg-angle": TraitColumns(base=103, middle=104)})

        assert names(ask(juno, trait="norberg-angle")) == ["Otto"]

    def test_there_is_no_list_for_such_a_dog(self, club: Club) -> None:
        juno = bitch(club)
        make_accepted(club, juno, consent_to_publish=False)
        make_run(club.breed)

        with pytest.raises(NoAnswer) as refusal:
            ask(juno)

        assert (refusal.value.why, refusal.value.dog) == (Why.WITHHELD, seen(juno))


class TestWhyThereIsNoList:
    def test_before_the_first_run(self, club: Club) -> None:
        with pytest.raises(NoAnswer) as refusal:
            ask(bitch(club))

        assert refusal.value.why == Why.NO_RUN

    def test_for_a_dead_bitch_but_not_for_a_dead_male(self, club: Club) -> None:
        dead = bitch(club, died_on=date(2025, 2, 1))
        stored = male(club, "Stored", died_on=date(2025, 2, 1))
        make_dog(club, name="Wren")
        make_run(club.breed)

        with pytest.raises(NoAnswer) as refusal:
            ask(dead)

        assert (refusal.value.why, refusal.value.dog) == (Why.DEAD_DAM, seen(dead))
        assert names(ask(stored)) == ["Wren"]

    def test_for_a_trait_without_breeding_values(self, club: Club) -> None:
        juno = bitch(club)
        make_run(club.breed)

        with pytest.raises(NoAnswer) as refusal:
            ask(juno, trait="elbow-grade")

        assert refusal.value.why == Why.NO_VALUES

    def test_for_a_dog_that_came_after_the_run(self, club: Club) -> None:
        bitch(club)
        make_run(club.breed)
        late = make_dog(club, name="Late")

        with pytest.raises(NoAnswer) as refusal:
            ask(late)

        assert (refusal.value.why, refusal.value.dog) == (Why.AFTER_RUN, seen(late))


class TestARow:
    def test_it_tells_the_released_value_and_the_numbers_of_the_run(self, club: Club) -> None:
        juno, otto = bitch(club), male(club, "Otto", born_on=date(2021, 3, 4))
        make_accepted(club, otto, left="0.31", right="0.35")
        columns = TraitColumns(
            value={otto: -0.06, juno: 0.02}, reliability={otto: 0.5}, base=0.45, middle=0.44
        )
        make_run(club.breed, traits={"hip-laxity": columns})

        (row,) = ask(juno).rows

        assert row.released is not None
        assert row.released.trait.value_text(row.released.step) == "0.35"
        assert (row.public_id, row.born_on) == (otto.public_id, date(2021, 3, 4))
        assert (row.value.value, row.value.reliability) == (-0.06, 0.5)
        # The base and half of what both parents' values add up to.
        assert row.forecast.mean == pytest.approx(0.43)
        assert row.forecast.inbreeding == row.kinship == 0

    def test_the_litter_is_the_same_from_both_sides(self, club: Club) -> None:
        juno, otto = bitch(club), male(club, "Otto")
        columns = TraitColumns(value={otto: -0.06, juno: 0.02}, reliability={otto: 0.5, juno: 0.2})
        make_run(club.breed, traits={"hip-laxity": columns})

        (his,) = ask(juno).rows
        (hers,) = ask(otto).rows

        assert his.forecast == hers.forecast

    def test_a_difference_is_close_while_it_is_within_its_standard_error(self, club: Club) -> None:
        juno = bitch(club)
        first, near, far = male(club, "First"), male(club, "Near"), male(club, "Far")
        # Error variances of 0.0032 each: the difference of two litters has the standard error
        # ½ √0.0064 = 0.04.
        columns = TraitColumns(
            value={first: -0.10, near: -0.03, far: -0.01},
            reliability={first: 7 / 15, near: 7 / 15, far: 7 / 15},
        )
        make_run(club.breed, traits={"hip-laxity": columns})

        found = ask(juno)

        assert [row.behind for row in found.rows] == pytest.approx([0, 0.035, 0.045])
        # The first is not compared with itself.
        assert [row.is_close for row in found.rows] == [False, True, False]
        assert found.close == 1


class TestTheStretch:
    def test_it_is_cut_from_the_whole_list(self, club: Club) -> None:
        juno = bitch(club)
        dogs_of_it = [male(club, f"Male {number}") for number in range(5)]
        value = {dog: number / 10 for number, dog in enumerate(dogs_of_it)}
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value=value)})

        found = ask(juno, first=2, most=2)

        assert names(found) == ["Male 2", "Male 3"]
        assert (found.matching, found.first) == (5, 2)
        assert found.rows[0].behind == pytest.approx(0.1)

    def test_past_the_end_it_is_the_last_one(self, club: Club) -> None:
        juno = bitch(club)
        for number in range(5):
            male(club, f"Male {number}")
        make_run(club.breed)

        found = ask(juno, first=100, most=2)

        assert names(found) == ["Male 4"]
        assert found.first == 4

    def test_it_asks_as_often_for_many_as_for_few(
        self, club: Club, django_assert_max_num_queries: Any
    ) -> None:
        juno = bitch(club)
        for number in range(30):
            male(club, f"Male {number}")
        make_run(club.breed)
        ask(juno)

        with django_assert_max_num_queries(10):
            assert len(ask(juno).rows) == 25


class TestDays:
    @pytest.mark.parametrize(
        ("day", "months", "expected"),
        [
            (date(2026, 11, 25), 18, date(2025, 5, 25)),
            (date(2026, 3, 31), 1, date(2026, 2, 28)),
            (date(2024, 2, 29), 12, date(2023, 2, 28)),
            (date(2026, 1, 15), 1, date(2025, 12, 15)),
            (date(2026, 1, 15), 0, date(2026, 1, 15)),
        ],
    )
    def test_months_before(self, day: date, months: int, expected: date) -> None:
        assert months_before(day, months) == expected

    def test_a_dog_counts_as_alive_for_fifteen_years_unless_its_death_is_known(self) -> None:
        assert is_alive(date(2011, 11, 26), None, TODAY)
        assert not is_alive(date(2011, 11, 25), None, TODAY)
        assert not is_alive(date(2020, 1, 1), date(2026, 1, 1), TODAY)


def correct(club: Club, dog: Dog, **facts: Any) -> None:
    dog = Dog.objects.select_related("breed").get(pk=dog.pk)
    now = dogs.DogFacts(
        breed=dog.breed.slug,
        name=dog.name,
        sex=dog.sex,
        born_on=dog.born_on,
        colour=dog.colour,
        chip=dog.chip or "",
    )
    dogs.correct_dog(
        by=club.registrar.actor,
        dog_id=dog.public_id,
        version=dog.version,
        facts=replace(now, **facts),
        reason="the studbook says so",
    )


def _small_breed(club: Club, chance: random.Random) -> list[Dog]:
    """Six founders and five years of litters; some of the dogs are dead."""
    everybody = [
        make_dog(club, name=f"Founder {at}", sex="MF"[at % 2], born_on=date(2014, 3, 1))
        for at in range(6)
    ]
    for year in range(2017, 2027, 2):
        ready = [dog for dog in everybody if dog.born_on.year <= year - 2]
        for litter in range(3):
            sire, dam = (
                chance.choice([dog for dog in ready if dog.sex == sex][-6:]) for sex in "MF"
            )
            everybody += [
                make_dog(
                    club,
                    name=f"Dog {year}-{litter}-{at}",
                    sex=chance.choice("MF"),
                    born_on=date(year, 1 + 4 * litter, 3),
                    died_on=date(2026, 9, 1) if chance.random() < 0.2 else None,
                    sire=sire.public_id,
                    dam=dam.public_id,
                )
                for at in range(3)
            ]
    return everybody


def _kinships(everybody: list[Dog]) -> dict[tuple[int, int], float]:
    """Every pair's kinship by the recursion itself: ours do it by a product. Parents come first."""
    known: dict[tuple[int, int], float] = {}

    def between(one: int | None, other: int | None) -> float:
        return 0.0 if one is None or other is None else known[one, other]

    for at, dog in enumerate(everybody):
        for older in everybody[:at]:
            shared = (between(dog.sire_id, older.pk) + between(dog.dam_id, older.pk)) / 2
            known[dog.pk, older.pk] = known[older.pk, dog.pk] = shared
        known[dog.pk, dog.pk] = (1 + between(dog.sire_id, dog.dam_id)) / 2
    return known
