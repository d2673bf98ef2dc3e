"""A pair: its kinship, its litter of every trait, and why there may be none."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from registry.models import Dog
from registry.queries.pairs import NoAnswer, PairFacts, Why, kinship_of, litter_of, pair
from registry.queries.public import PublicDog
from registry.queries.public_dogs import public_dog
from tests.breeding import TraitColumns, make_run
from tests.factories import Club, make_accepted, make_breed, make_club, make_dog

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def seen(dog: Dog) -> PublicDog:
    found = public_dog(dog.public_id)
    assert found is not None
    return found


def asked(one: Dog, other: Dog) -> PairFacts:
    return pair(seen(one), seen(other))


def why(one: Dog, other: Dog) -> Why:
    with pytest.raises(NoAnswer) as refusal:
        asked(one, other)
    return refusal.value.why


def male(club: Club, **facts: Any) -> Dog:
    return make_dog(club, sex="M", born_on=facts.pop("born_on", date(2019, 4, 1)), **facts)


class TestTheLitter:
    def test_it_is_told_for_each_trait_of_the_run(self, club: Club) -> None:
        juno, otto = make_dog(club), male(club)
        laxity = TraitColumns(value={juno: 0.02, otto: -0.06}, base=0.45)
        angle = TraitColumns(value={juno: 1.0, otto: 2.0}, base=103.0, middle=104.0)
        make_run(club.breed, traits={"hip-laxity": laxity, "norberg-angle": angle})

        found = asked(juno, otto)

        means = {
            each.facts.trait.slug: each.forecast.mean for each in found.traits if each.forecast
        }
        assert means == pytest.approx({"hip-laxity": 0.43, "norberg-angle": 104.5})
        assert (found.sire.pk, found.dam.pk) == (otto.pk, juno.pk)

    def test_it_is_the_same_whoever_is_named_first(self, club: Club) -> None:
        juno, otto = make_dog(club), male(club)
        make_run(club.breed)

        assert asked(juno, otto) == asked(otto, juno)

    def test_a_dead_sire_may_be_asked_for(self, club: Club) -> None:
        juno, otto = make_dog(club), male(club, died_on=date(2025, 2, 1))
        make_run(club.breed)

        assert asked(juno, otto).traits[0].forecast is not None

    def test_none_is_made_with_a_result_that_is_not_released(self, club: Club) -> None:
        juno, otto = make_dog(club), male(club)
        make_accepted(club, otto, consent_to_publish=False)
        make_run(club.breed, traits={"hip-laxity": TraitColumns(), "norberg-angle": TraitColumns()})

        laxity, angle = asked(juno, otto).traits

        assert (laxity.forecast, [dog.pk for dog in laxity.withheld]) == (None, [otto.pk])
        assert laxity.sire.value is None
        assert angle.forecast is not None

    def test_a_withheld_value_is_refused_where_it_would_be_used(self, club: Club) -> None:
        juno, otto = make_dog(club), male(club)
        make_accepted(club, otto, consent_to_publish=False)
        make_run(club.breed)
        (laxity,) = asked(juno, otto).traits

        with pytest.raises(ValueError, match="withheld"):
            litter_of(laxity.sire, laxity.dam, 0.0)


class TestWhyThereIsNone:
    def test_a_dog_and_itself(self, club: Club) -> None:
        juno = make_dog(club)

        assert why(juno, juno) == Why.SAME_DOG

    def test_two_of_one_sex(self, club: Club) -> None:
        assert why(make_dog(club), make_dog(club)) == Why.SAME_SEX

    def test_two_breeds(self, club: Club) -> None:
        elsewhere = replace(club, breed=make_breed())

        assert why(make_dog(club), male(elsewhere)) == Why.OTHER_BREED

    def test_a_dead_dam(self, club: Club) -> None:
        make_run(club.breed)

        assert why(make_dog(club, died_on=date(2025, 2, 1)), male(club)) == Why.DEAD_DAM

    def test_before_the_first_run(self, club: Club) -> None:
        assert why(make_dog(club), male(club)) == Why.NO_RUN

    def test_a_dog_that_came_after_the_run(self, club: Club) -> None:
        juno = make_dog(club)
        make_run(club.breed)
        late = male(club)

        with pytest.raises(NoAnswer) as refusal:
            asked(juno, late)

        assert (refusal.value.why, refusal.value.dog) == (Why.AFTER_RUN, seen(late))


class TestTheKinship:
    # Kinships of relatives from unrelated parents: common knowledge of the trade, and in
    # tests/published with their sources.
    def test_of_parent_and_offspring(self, club: Club) -> None:
        sire = male(club)
        juno = make_dog(club, sire=sire.public_id)
        make_run(club.breed)

        facts = kinship_of(seen(juno), seen(sire))

        assert (facts.kinship, facts.relation) == (0.25, "parent")

    def test_of_full_and_half_siblings(self, club: Club) -> None:
        sire, dam = male(club), make_dog(club, born_on=date(2019, 1, 1))
        both: dict[str, Any] = {"sire": sire.public_id, "dam": dam.public_id}
        one, full = make_dog(club, **both), make_dog(club, **both)
        half = make_dog(club, sire=sire.public_id)
        make_run(club.breed)

        found = [kinship_of(seen(one), seen(other)) for other in (full, half)]

        assert [(each.kinship, each.relation) for each in found] == [
            (0.25, "full-siblings"), (0.125, "half-siblings")
        ]  # fmt: skip

    def test_of_strangers_of_whom_no_parent_is_known(self, club: Club) -> None:
        juno, otto = make_dog(club), male(club)
        make_run(club.breed)

        facts = kinship_of(seen(juno), seen(otto))

        assert (facts.kinship, facts.relation) == (0.0, "")
