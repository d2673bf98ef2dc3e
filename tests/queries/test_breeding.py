"""What pages and programs read of a breed's latest run, and what they must not."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from registry.desk import consent, dogs
from registry.desk.actor import Actor
from registry.models import BreedingRun, Dog, RunState, Trait
from registry.queries.breeding import (
    breeding_value_of,
    hidden_dogs,
    latest_run,
    run_table,
    trend_of,
)
from registry.queries.public_dogs import public_dog
from tests.breeding import TraitColumns, make_run
from tests.factories import Club, make_accepted, make_breed, make_club, make_dog, make_revoked

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def _values(dog: Dog) -> dict[str, float | None]:
    found = public_dog(dog.public_id)
    assert found is not None
    return {each.facts.trait.slug: each.value for each in breeding_value_of(found)}


class TestTheLatestRun:
    def test_there_is_none_before_the_first(self, club: Club) -> None:
        assert latest_run(club.breed.pk) is None

    def test_it_is_the_last_that_was_done(self, club: Club) -> None:
        make_dog(club)
        make_run(club.breed)
        second = make_run(club.breed)
        BreedingRun.objects.create(
            breed=club.breed, number=3, state=RunState.FAILED, asked_at=second.asked_at
        )

        found = latest_run(club.breed.pk)

        assert found is not None
        assert (found.number, found.dogs) == (2, 1)

    def test_it_tells_a_trait_in_its_unit(self, club: Club) -> None:
        make_dog(club)
        make_run(club.breed, traits={"norberg-angle": TraitColumns(base=103.5, middle=104.0)})

        found = latest_run(club.breed.pk)

        assert found is not None
        (facts,) = found.traits
        assert (facts.trait.slug, facts.base, facts.middle) == ("norberg-angle", 103.5, 104.0)
        # 0.006 of 0.012 in all.
        assert facts.heritability == pytest.approx(0.5)
        assert facts.is_better(105, 104)

    def test_a_trait_with_too_few_records_is_named_apart(self, club: Club) -> None:
        make_dog(club)
        few = TraitColumns(has_values=False, records=12, notes=({"code": "too-few-records"},))
        make_run(club.breed, traits={"hip-laxity": TraitColumns(), "elbow-grade": few})

        found = latest_run(club.breed.pk)

        assert found is not None
        assert [facts.trait.slug for facts in found.traits] == ["hip-laxity"]
        assert [(each.trait.slug, each.records) for each in found.without] == [("elbow-grade", 12)]

    def test_the_course_comes_back_as_it_was_stored(self, club: Club) -> None:
        make_dog(club)
        run = make_run(
            club.breed, traits={"hip-laxity": TraitColumns(trend={"years": [{"year": 2020}]})}
        )

        trend = trend_of(run.pk, Trait.objects.get(slug="hip-laxity").pk)

        assert trend == {"years": [{"year": 2020}]}


class TestTheColumns:
    def test_every_dog_has_its_place(self, club: Club) -> None:
        sire = make_dog(club, sex="M", born_on=date(2018, 5, 1))
        dam = make_dog(club, born_on=date(2018, 6, 1))
        pup = make_dog(club, sire=sire.public_id, dam=dam.public_id)
        run = make_run(club.breed)

        table = run_table(run.pk)

        places = [table.place_of(dog.pk) for dog in (sire, dam, pup)]
        assert places == [0, 1, 2]
        assert (int(table.sire[2]), int(table.dam[2]), int(table.sire[0])) == (0, 1, -1)
        assert table.pedigree.level.tolist() == [0, 0, 1]

    def test_a_dog_that_came_later_has_no_place(self, club: Club) -> None:
        first = make_dog(club)
        run = make_run(club.breed)
        later = make_dog(club)

        table = run_table(run.pk)

        assert table.place_of(later.pk) is None
        assert table.places_of([later.pk, first.pk]).tolist() == [-1, 0]

    def test_numbers_come_back_to_the_last_bit(self, club: Club) -> None:
        dog, other = make_dog(club), make_dog(club)
        trait = Trait.objects.get(slug="hip-laxity")
        run = make_run(
            club.breed,
            traits={"hip-laxity": TraitColumns(value={dog: 1 / 3}, record={other: 0.1 + 0.2})},
        )

        table = run_table(run.pk)

        assert table.value(trait.pk).tolist() == [1 / 3, 0.0]
        assert table.record(trait.pk)[1] == 0.1 + 0.2
        assert np.isnan(table.record(trait.pk)[0])

    def test_nobody_can_write_into_what_all_share(self, club: Club) -> None:
        make_dog(club)
        table = run_table(make_run(club.breed).pk)

        with pytest.raises(ValueError, match="read-only"):
            table.inbreeding[0] = 1.0

    def test_only_the_last_two_runs_keep_theirs(self, club: Club) -> None:
        make_dog(club)
        runs = [make_run(club.breed) for _ in range(3)]

        kept = [run.columns.exists() for run in runs]

        assert kept == [False, True, True]
        assert [run.traits.count() for run in runs] == [1, 1, 1]


class TestWhatIsWithheld:
    def test_a_value_is_told_where_the_own_result_is_released(self, club: Club) -> None:
        dog = make_dog(club)
        make_accepted(club, dog)
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value={dog: -0.04})})

        assert _values(dog) == {"hip-laxity": -0.04}

    def test_it_is_told_of_a_dog_that_was_never_tested(self, club: Club) -> None:
        dog = make_dog(club)
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value={dog: -0.04})})

        assert _values(dog) == {"hip-laxity": -0.04}

    def test_nothing_is_told_where_the_own_result_is_not_released(self, club: Club) -> None:
        dog = make_dog(club)
        make_accepted(club, dog, consent_to_publish=False)
        columns = TraitColumns(value={dog: 0.2}, record={dog: 0.7}, reliability={dog: 0.6})
        make_run(club.breed, traits={"hip-laxity": columns})
        found = public_dog(dog.public_id)
        assert found is not None

        (told,) = breeding_value_of(found)

        assert told.is_withheld
        assert (told.value, told.record, told.reliability) == (None, None, None)
        assert told.error_variance is None

    def test_the_owners_word_holds_at_once_without_a_new_run(self, club: Club) -> None:
        dog = make_dog(club)
        certificate = make_accepted(club, dog)
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value={dog: 0.2})})

        consent.change_consent(
            by=Actor.system(), evaluation_id=certificate.evaluation.public_id, publish=False
        )

        assert _values(dog) == {"hip-laxity": None}

    def test_a_later_unreleased_result_hides_the_value_of_an_earlier_one(self, club: Club) -> None:
        dog = make_dog(club)
        make_accepted(club, dog, examined_on="2026-03-02")
        make_accepted(club, dog, examined_on="2026-10-02", consent_to_publish=False)
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value={dog: 0.2})})

        assert _values(dog) == {"hip-laxity": None}

    def test_only_the_trait_that_was_looked_at_is_hidden(self, club: Club) -> None:
        dog = make_dog(club)
        make_accepted(club, dog, consent_to_publish=False)
        traits = {"hip-laxity": TraitColumns(), "norberg-angle": TraitColumns(value={dog: 0.1})}
        make_run(club.breed, traits=traits)

        assert _values(dog) == {"hip-laxity": None, "norberg-angle": 0.1}

    def test_one_revoked_since_the_run_is_still_in_it_and_stays_hidden(self, club: Club) -> None:
        dog = make_dog(club)
        certificate = make_accepted(club, dog, consent_to_publish=False)
        make_run(club.breed)
        make_revoked(club, certificate.evaluation.public_id)
        laxity = Trait.objects.get(slug="hip-laxity")

        assert hidden_dogs(club.breed.pk, laxity.pk) == {dog.pk}
        make_run(club.breed)
        assert hidden_dogs(club.breed.pk, laxity.pk) == set()

    def test_one_that_waits_to_leave_is_still_read_by_runs_and_stays_hidden(
        self, club: Club
    ) -> None:
        hidden = [make_dog(club) for _each in range(5)]
        results = [make_accepted(club, dog, consent_to_publish=False) for dog in hidden]
        laxity = Trait.objects.get(slug="hip-laxity")

        make_revoked(club, results[0].evaluation.public_id)
        make_run(club.breed)
        waiting = hidden_dogs(club.breed.pk, laxity.pk)
        for each in results[1:]:
            make_revoked(club, each.evaluation.public_id)
        make_run(club.breed)

        assert waiting == {dog.pk for dog in hidden}
        assert hidden_dogs(club.breed.pk, laxity.pk) == set()

    def test_the_hidden_dogs_of_a_breed_are_these(self, club: Club) -> None:
        hidden, shown = make_dog(club), make_dog(club)
        make_accepted(club, hidden, consent_to_publish=False)
        make_accepted(club, shown)
        laxity = Trait.objects.get(slug="hip-laxity")
        elbow = Trait.objects.get(slug="elbow-grade")

        assert hidden_dogs(club.breed.pk, laxity.pk) == {hidden.pk}
        assert hidden_dogs(club.breed.pk, elbow.pk) == set()


class TestHowFarBehind:
    def _since(self, club: Club) -> int:
        found = latest_run(club.breed.pk)
        assert found is not None
        assert found.is_behind == (found.results_since > 0)
        return found.results_since

    def test_a_new_run_is_not(self, club: Club) -> None:
        make_accepted(club)
        make_run(club.breed)

        assert self._since(club) == 0

    def test_each_accepted_result_and_each_new_dog_counts(self, club: Club) -> None:
        dog = make_dog(club)
        make_run(club.breed)

        make_accepted(club, dog)
        assert self._since(club) == 1
        make_dog(club)

        assert self._since(club) == 2

    def test_a_result_that_was_taken_back_counts(self, club: Club) -> None:
        certificate = make_accepted(club)
        make_run(club.breed)

        make_revoked(club, certificate.evaluation.public_id, reason="the wrong dog")

        assert self._since(club) == 1

    def test_another_breeds_results_do_not(self, club: Club) -> None:
        make_dog(club)
        make_run(club.breed)

        make_accepted(replace(club, breed=make_breed()))

        assert self._since(club) == 0

    def test_waiting_and_consent_do_not(self, club: Club) -> None:
        certificate = make_accepted(club)
        make_run(club.breed)

        consent.change_consent(
            by=Actor.system(), evaluation_id=certificate.evaluation.public_id, publish=False
        )

        assert self._since(club) == 0

    def test_a_corrected_parent_counts_and_a_corrected_colour_does_not(self, club: Club) -> None:
        sire = make_dog(club, sex="M", born_on=date(2018, 5, 1))
        dog = make_dog(club)
        make_run(club.breed)

        _correct(club, dog, colour="black")
        assert self._since(club) == 0
        _correct(club, dog, sire=sire.public_id)

        assert self._since(club) == 1

    def test_a_dog_that_leaves_the_breed_counts_in_both(self, club: Club) -> None:
        other = make_breed()
        dog = make_dog(club)
        make_run(club.breed)
        make_run(other)

        _correct(club, dog, breed=other.slug)

        found = latest_run(other.pk)
        assert found is not None
        assert (self._since(club), found.results_since) == (1, 1)

    def test_an_ancestor_of_another_breed_counts_when_its_pedigree_changes(
        self, club: Club
    ) -> None:
        elsewhere = replace(club, breed=make_breed())
        grandsire = make_dog(elsewhere, sex="M", born_on=date(2012, 5, 1))
        sire = make_dog(elsewhere, sex="M", born_on=date(2018, 5, 1))
        Dog.objects.filter(pk=make_dog(club).pk).update(sire=sire)
        run = make_run(club.breed)
        BreedingRun.objects.filter(pk=run.pk).update(other_breeds=[sire.pk])

        make_accepted(elsewhere, sire)
        assert self._since(club) == 0
        _correct(club, sire, sire=grandsire.public_id)

        assert self._since(club) == 1


def _correct(club: Club, dog: Dog, **facts: Any) -> None:
    dog = Dog.objects.select_related("breed", "sire", "dam").get(pk=dog.pk)
    now = dogs.DogFacts(
        breed=dog.breed.slug,
        name=dog.name,
        sex=dog.sex,
        born_on=dog.born_on,
        call_name=dog.call_name,
        colour=dog.colour,
        chip=dog.chip or "",
        studbook_number=dog.studbook_number,
        sire=dog.sire.public_id if dog.sire else "",
        dam=dog.dam.public_id if dog.dam else "",
    )
    dogs.correct_dog(
        by=club.registrar.actor,
        dog_id=dog.public_id,
        version=dog.version,
        facts=replace(now, **facts),
        reason="the studbook says so",
    )
