"""A breeding run is asked for, computed from one instant, and stored whole or not at all."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from threading import Thread
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.db.models import F
from django.utils import timezone

from registry.desk import breeding, breeding_inputs, consent, merge
from registry.desk.actor import Actor
from registry.desk.breeding_computation import compute
from registry.desk.breeding_inputs import read_inputs
from registry.desk.errors import NotFound, Refused
from registry.models import (
    Breed,
    BreedingRun,
    CountedValue,
    Dog,
    Evaluation,
    LedgerEntry,
    RunColumn,
    RunState,
    Trait,
    TraitRun,
)
from registry.queries.breeding import breeding_value_of, latest_run, run_table, trend_of
from registry.queries.public_dogs import public_dog
from tests.bred import make_bred
from tests.factories import (
    Club,
    make_accepted,
    make_breed,
    make_club,
    make_dog,
    make_revoked,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def run_now(breed: Breed) -> BreedingRun:
    """A run asked for by the system; tests do tasks on the spot."""
    return breeding.ask_for_run(by=Actor.system(), breed_slug=breed.slug)


def laxity() -> Trait:
    return Trait.objects.get(slug="hip-laxity")


class TestAsking:
    def test_a_registrar_may_ask(self, club: Club) -> None:
        run = breeding.ask_for_run(by=club.registrar.actor, breed_slug=club.breed.slug)

        assert (run.number, run.state) == (1, RunState.DONE)
        asked = LedgerEntry.objects.get(action="breeding.asked")
        assert asked.actor == club.registrar.user.subject_id

    def test_a_clinic_may_not(self, club: Club) -> None:
        with pytest.raises(Refused):
            breeding.ask_for_run(by=club.nurse.actor, breed_slug=club.breed.slug)

        assert not BreedingRun.objects.exists()

    def test_an_unknown_breed_is_not_found(self, club: Club) -> None:
        with pytest.raises(NotFound):
            breeding.ask_for_run(by=club.registrar.actor, breed_slug="no-such-breed")

    def test_an_open_run_is_the_answer_to_a_second_asking(self, club: Club) -> None:
        waiting = make_waiting(club.breed)

        again = breeding.ask_for_run(by=club.registrar.actor, breed_slug=club.breed.slug)

        assert again == waiting
        assert not LedgerEntry.objects.filter(action="breeding.asked").exists()

    def test_runs_are_numbered_within_the_breed(self, club: Club) -> None:
        other = make_breed()

        numbers = [run_now(breed).number for breed in (club.breed, other, club.breed)]

        assert numbers == [1, 1, 2]


def make_waiting(breed: Breed) -> BreedingRun:
    """A run that waits for its worker."""
    now = timezone.now()
    return BreedingRun.objects.create(
        breed=breed, number=1, asked_at=now, lease_until=now + breeding.LEASE
    )


class TestWhatIsRead:
    def test_a_record_is_the_worse_side(self, club: Club) -> None:
        dog = make_dog(club)
        make_accepted(club, dog)  # 0.31 and 0.35

        (inputs,) = [of for of in read_inputs(club.breed).traits if of.slug == "hip-laxity"]

        assert inputs.value == pytest.approx([0.35])

    def test_a_dog_with_one_side_read_has_no_record(self, club: Club) -> None:
        certificate = make_accepted(club)
        certificate.evaluation.readings.filter(side="left").delete()

        traits = read_inputs(club.breed).traits

        assert [len(of.place) for of in traits if of.slug == "hip-laxity"] == [0]

    def test_only_what_counts_today_is_a_record(self, club: Club) -> None:
        dog = make_dog(club)
        make_accepted(club, dog, examined_on="2026-03-02")
        readings = [
            {"trait": "hip-laxity", "side": side, "value": "0.52"} for side in ("left", "right")
        ]
        make_accepted(club, dog, examined_on="2026-10-02", readings=readings)

        (inputs,) = [of for of in read_inputs(club.breed).traits if of.slug == "hip-laxity"]

        assert inputs.value == pytest.approx([0.52])

    def test_results_that_are_not_released_are_records_once_five_are_in_the_public_counts(
        self, club: Club
    ) -> None:
        def values() -> list[float]:
            (inputs,) = [of for of in read_inputs(club.breed).traits if of.slug == "hip-laxity"]
            return [round(value, 2) for value in inputs.value.tolist()]

        results = [
            make_accepted(club, consent_to_publish=False, left="0.30", right=f"0.4{number}")
            for number in range(4)
        ]
        waiting = values()
        results.append(make_accepted(club, consent_to_publish=False, left="0.30", right="0.44"))
        come = values()
        for each in results[:4]:
            make_revoked(club, each.evaluation.public_id)
        some_taken_back = values()
        make_revoked(club, results[4].evaluation.public_id)

        assert waiting == values() == []
        assert come == some_taken_back == [0.4, 0.41, 0.42, 0.43, 0.44]

    def test_of_a_dog_with_one_that_waits_to_go_the_newest_that_came_is_its_record(
        self, club: Club
    ) -> None:
        dogs = [make_dog(club) for _each in range(10)]
        for dog in dogs:
            make_accepted(club, dog, consent_to_publish=False, left="0.30", right="0.40")
        # Five new ones come, but of neither group of five all may go.
        for dog in dogs[2:7]:
            make_accepted(
                club, dog, consent_to_publish=False, left="0.30", right="0.50",
                examined_on="2026-10-03",
            )  # fmt: skip

        (inputs,) = [of for of in read_inputs(club.breed).traits if of.slug == "hip-laxity"]

        assert [round(value, 2) for value in inputs.value.tolist()] == [
            *[0.4] * 2, *[0.5] * 5, *[0.4] * 3,
        ]  # fmt: skip

    def test_days_are_counted_from_1970(self, club: Club) -> None:
        make_accepted(club, make_dog(club, born_on=date(2024, 2, 29)), examined_on="2026-10-02")

        inputs = read_inputs(club.breed)

        # 54 years with 14 leap days before 2024-02-29: 54 * 365 + 13 + 31 + 28.
        assert inputs.born.tolist() == [19782]
        assert inputs.traits[0].day.tolist() == [20728]

    def test_ancestors_of_another_breed_belong_to_the_pedigree(self, club: Club) -> None:
        elsewhere = replace(club, breed=make_breed())
        grandsire = make_dog(elsewhere, sex="M", born_on=date(2012, 5, 1))
        sire = make_dog(elsewhere, sex="M", born_on=date(2018, 5, 1), sire=grandsire.public_id)
        make_dog(elsewhere, sex="M", born_on=date(2018, 5, 1))
        dog = make_dog(club)
        # No registrar can enter this any more; a register may hold it from before.
        Dog.objects.filter(pk=dog.pk).update(sire=sire)

        inputs = read_inputs(club.breed)

        assert inputs.dog.tolist() == [grandsire.pk, sire.pk, dog.pk]
        assert inputs.sire.tolist() == [-1, 0, 1]
        assert inputs.other_breeds == [grandsire.pk, sire.pk]

    def test_their_results_are_no_records_of_the_breed(self, club: Club) -> None:
        elsewhere = replace(club, breed=make_breed())
        sire = make_dog(elsewhere, sex="M", born_on=date(2018, 5, 1))
        make_accepted(elsewhere, sire)
        Dog.objects.filter(pk=make_dog(club).pk).update(sire=sire)

        assert all(not len(of.place) for of in read_inputs(club.breed).traits)


class TestComputing:
    def test_the_values_follow_the_truth(self, club: Club) -> None:
        bred = make_bred(club)

        run = run_now(club.breed)

        table = run_table(run.pk)
        places = table.places_of([dog.pk for dog in bred.dogs])
        value = table.value(laxity().pk)[places]
        reliability = table.reliability(laxity().pk)[places]
        assert run.state == RunState.DONE
        assert np.corrcoef(value, bred.truth)[0, 1] > 0.6
        assert 0.2 < reliability[24:].mean() < 0.9
        # Squared correlation of true and estimated, as reliability says of itself.
        assert np.corrcoef(value[24:], bred.truth[24:])[0, 1] ** 2 == pytest.approx(
            reliability[24:].mean(), abs=0.2
        )

    def test_a_dogs_worse_side_is_its_record_and_kept_beside_its_value(self, club: Club) -> None:
        bred = make_bred(club)
        steps = {}
        for dog in bred.dogs[24:]:
            readings = Evaluation.objects.get(dog=dog).readings
            steps[dog] = sorted(readings.values_list("step", flat=True))
        dog = next(dog for dog, (tighter, looser) in steps.items() if tighter < looser)

        run = run_now(club.breed)

        table = run_table(run.pk)
        place = table.place_of(dog.pk)
        assert place is not None
        assert table.record(laxity().pk)[place] == pytest.approx(steps[dog][1] * 0.01)
        assert np.isnan(table.record(laxity().pk)[: len(bred.dogs)]).sum() == 24

    def test_a_breed_with_enough_records_has_its_own_variances(self, club: Club) -> None:
        make_bred(club, litters=20, additive=0.009, residual=0.003)

        run_now(club.breed)

        found = latest_run(club.breed.pk)
        assert found is not None
        (facts,) = found.traits
        assert facts.variances_from == "records"
        assert facts.heritability_se is not None
        # True: 0.75 of the differences between the worse sides, reading errors apart.
        assert abs(facts.heritability - 0.75) < 3 * facts.heritability_se

    def test_a_breed_with_few_uses_published_shares_and_says_so(self, club: Club) -> None:
        make_bred(club, generations=2, litters=5)

        run_now(club.breed)

        found = latest_run(club.breed.pk)
        assert found is not None
        (facts,) = found.traits
        assert (facts.variances_from, facts.heritability_se) == ("prior", None)
        assert facts.heritability == pytest.approx(0.53)
        assert facts.litter_share == pytest.approx(0.05)
        assert [note["code"] for note in facts.notes] == ["prior", "average"]

    def test_a_heritability_at_its_bound_is_not_known_here(self, club: Club) -> None:
        make_bred(club, litters=20, additive=1e-9, residual=0.012)

        run_now(club.breed)

        found = latest_run(club.breed.pk)
        assert found is not None
        (facts,) = found.traits
        assert facts.is_borrowed and not facts.is_ranked
        assert facts.heritability == pytest.approx(0.53)
        assert "at-bound" in [note["code"] for note in facts.notes]

    def test_a_breed_with_hardly_any_gets_no_values(self, club: Club) -> None:
        make_bred(club, generations=1, litters=4)  # 24 records

        run = run_now(club.breed)

        found = latest_run(club.breed.pk)
        assert found is not None
        assert found.traits == ()
        few = {each.trait.slug: each for each in found.without}
        assert few["hip-laxity"].notes == (
            {"code": "too-few-records", "records": 24, "wanted": 30},
        )
        assert set(run.columns.values_list("name", flat=True)) == {
            *("dog", "sire", "dam", "inbreeding")
        }

    def test_a_trait_without_published_shares_waits_for_records(self, club: Club) -> None:
        make_bred(club, generations=2, litters=5)
        Trait.objects.update(heritability_prior=None, litter_share_prior=None)

        run_now(club.breed)

        found = latest_run(club.breed.pk)
        assert found is not None
        assert found.traits == ()
        (without,) = [each for each in found.without if each.trait.slug == "hip-laxity"]
        assert [note["code"] for note in without.notes] == ["no-prior"]

    def test_how_far_the_clinics_differ_is_kept(self, club: Club) -> None:
        make_bred(club)
        # Every third dog at the other clinic, where the numbers are higher by 0.10.
        Evaluation.objects.update(clinic=club.clinic)
        third = list(Evaluation.objects.order_by("pk").values_list("pk", flat=True))[::3]
        Evaluation.objects.filter(pk__in=third).update(clinic=club.other_clinic)
        raised = CountedValue.objects.filter(evaluation__clinic=club.other_clinic)
        raised.update(step=F("step") + 10)

        run_now(club.breed)

        (row,) = TraitRun.objects.filter(has_values=True)
        first, second = row.clinics
        assert [first["clinic"], second["clinic"]] == [club.clinic.pk, club.other_clinic.pk]
        assert first["records"] + second["records"] == row.records
        apart = second["effect"] - first["effect"]
        assert abs(apart - 0.10) < 3 * (first["se"] + second["se"])
        assert 0 < second["se"] < 0.02
        mean = sum(each["records"] * each["effect"] for each in row.clinics)
        assert mean == pytest.approx(0, abs=1e-9)

    def test_missing_parents_leave_no_trace_among_the_stored_dogs(self, club: Club) -> None:
        bred = make_bred(club, elbow=120)
        last = [dog.pk for dog in bred.dogs[-96::6]]
        Dog.objects.filter(pk__in=last).update(sire=None)

        run = run_now(club.breed)

        assert run.state == RunState.DONE
        sizes = {len(np.frombuffer(column.packed, dtype=column.dtype))
                 for column in RunColumn.objects.filter(run=run)}  # fmt: skip
        assert sizes == {len(bred.dogs)}
        assert run.dogs == len(bred.dogs)

    def test_with_many_unknown_parents_a_run_keeps_neither_size_nor_line(self, club: Club) -> None:
        make_bred(club)
        pups = Dog.objects.filter(sire__isnull=False).order_by("pk")
        Dog.objects.filter(pk__in=[dog.pk for dog in pups[::5]]).update(dam=None)
        some = trend_of(run_now(club.breed).pk, laxity().pk)
        Dog.objects.filter(pk__in=[dog.pk for dog in pups[: 3 * len(pups) // 5]]).update(sire=None)

        most = trend_of(run_now(club.breed).pk, laxity().pk)

        assert some["unknown_parents"]["share"] == pytest.approx(0.2, abs=0.01)
        assert some["line"] is not None and some["effective_size"] is None
        assert most["unknown_parents"]["share"] > 0.5
        assert most["line"] is None and most["effective_size"] is None

    def test_clinics_that_no_record_compares_are_not_told_apart(self, club: Club) -> None:
        make_bred(club)  # all males at one clinic, all females at the other

        run_now(club.breed)

        (row,) = TraitRun.objects.filter(has_values=True)
        assert row.clinics == []

    def test_a_grade_that_is_not_known_to_be_inherited_borrows_its_heritability(
        self, club: Club
    ) -> None:
        make_bred(club, generations=2, litters=8, elbow=60)

        run_now(club.breed)

        found = latest_run(club.breed.pk)
        assert found is not None
        facts = found.facts_of("elbow-grade")
        assert facts is not None
        assert facts.is_borrowed and not facts.is_ranked
        assert facts.heritability == pytest.approx(0.25)
        assert facts.grades is not None
        assert len(facts.grades.shares) == 4
        counts = Counter(CountedValue.objects.filter(trait__slug="elbow-grade").values_list("step"))
        assert facts.grades.shares[0] == pytest.approx(counts[(0,)] / 60)

    def test_base_and_middle_are_those_of_the_window(self, club: Club) -> None:
        make_bred(club)
        window = 12 * (timezone.localdate().year - 2020)  # only the last generation, born in 2021
        Breed.objects.filter(pk=club.breed.pk).update(window_months=window)

        run_now(club.breed)

        found = latest_run(club.breed.pk)
        assert found is not None
        (facts,) = found.traits
        values = [
            max(steps) * 0.01
            for evaluation in Evaluation.objects.filter(dog__born_on__year=2021)
            if (steps := evaluation.readings.values_list("step", flat=True))
        ]
        assert facts.middle == pytest.approx(np.median(values))
        # A record is base + breeding value + the rest, whose mean is about 0.
        table = run_table(found.pk)
        last = table.record(laxity().pk)[-len(values) :], table.value(laxity().pk)[-len(values) :]
        assert facts.base == pytest.approx(np.mean(last[0] - last[1]), abs=0.01)

    def test_the_course_is_stored_as_json(self, club: Club) -> None:
        make_bred(club)

        run = run_now(club.breed)

        trend = trend_of(run.pk, laxity().pk)
        assert [year["year"] for year in trend["years"]] == [2015, 2017, 2019, 2021]
        assert [year["tested"] for year in trend["years"]] == [0, 96, 96, 96]
        assert json.loads(json.dumps(trend, allow_nan=False)) == trend


class TestOnceMore:
    def test_the_same_inputs_give_the_same_results_to_the_last_bit(self, club: Club) -> None:
        make_bred(club, angle=True)

        one, other = run_now(club.breed), run_now(club.breed)

        assert (one.inputs_sha256, one.results_sha256) == (
            other.inputs_sha256,
            other.results_sha256,
        )
        assert len(one.results_sha256) == 64
        columns = [
            [
                bytes(packed)
                for packed in run.columns.order_by("pk").values_list("packed", flat=True)
            ]
            for run in (one, other)
        ]
        assert columns[0] == columns[1]

    @pytest.mark.parametrize(
        "change",
        [
            lambda inputs: replace(inputs, sire=np.where(inputs.sire == 2, 4, inputs.sire)),
            lambda inputs: replace(inputs, born=inputs.born + 1),
            lambda inputs: replace(inputs, window=(inputs.window[0] + 31, inputs.window[1])),
            lambda inputs: replace(
                inputs,
                traits=(replace(inputs.traits[0], value=inputs.traits[0].value + 1e-12),),
            ),
            lambda inputs: replace(
                inputs, traits=(replace(inputs.traits[0], heritability_prior=0.4),)
            ),
        ],
        ids=["a parent", "a birthday", "the window", "a value", "a prior"],
    )
    def test_another_input_is_another_fingerprint(
        self, club: Club, change: Callable[[Any], Any]
    ) -> None:
        make_bred(club, generations=1)
        inputs = read_inputs(club.breed)
        inputs = replace(inputs, traits=inputs.traits[:1])

        assert change(inputs).fingerprint() != inputs.fingerprint()
        assert replace(inputs, ledger_seq=1).fingerprint() == inputs.fingerprint()

    def test_computing_leaves_the_inputs_as_they_were(self, club: Club) -> None:
        make_bred(club)
        inputs = read_inputs(club.breed)
        before = inputs.fingerprint()

        compute(inputs)

        assert inputs.fingerprint() == before


class TestTheLedger:
    def test_a_run_leaves_one_entry_with_its_fingerprints_and_variances(self, club: Club) -> None:
        make_bred(club)

        run = run_now(club.breed)

        entry = LedgerEntry.objects.get(action="breeding.run")
        values = {name: change["to"] for name, change in json.loads(entry.body)["values"].items()}
        trait = TraitRun.objects.get(run=run, trait__slug="hip-laxity")
        assert entry.subject == f"breed:{club.breed.slug}"
        assert values["number"] == 1
        assert values["inputs_sha256"] == run.inputs_sha256
        assert values["results_sha256"] == run.results_sha256
        assert float(values["variances"]["hip-laxity"]["additive"]) == trait.additive

    def test_the_run_itself_does_not_make_it_behind(self, club: Club) -> None:
        make_bred(club)

        run_now(club.breed)

        found = latest_run(club.breed.pk)
        assert found is not None
        assert not found.is_behind


class TestPrivacy:
    def test_a_result_that_is_not_released_shapes_the_kin_and_is_withheld_itself(
        self, club: Club
    ) -> None:
        bred = make_bred(club)
        hidden = Evaluation.objects.get(dog=bred.dogs[30])
        consent.change_consent(by=Actor.system(), evaluation_id=hidden.public_id, publish=False)

        run = run_now(club.breed)

        place = run_table(run.pk).place_of(bred.dogs[30].pk)
        assert not np.isnan(run_table(run.pk).record(laxity().pk)[place])
        told = {
            dog.pk: breeding_value_of(found)[0]
            for dog in (bred.dogs[30], bred.dogs[31])
            if (found := public_dog(dog.public_id))
        }
        assert told[bred.dogs[30].pk].value is None
        assert told[bred.dogs[31].pk].value is not None


class TestFailing:
    def test_a_circle_in_the_pedigree_is_named(self, club: Club) -> None:
        sire = make_dog(club, name="Tarnfold Alder", sex="M", born_on=date(2018, 5, 1))
        dog = make_dog(club, name="Tarnfold Birch", sex="M", sire=sire.public_id)
        Dog.objects.filter(pk=sire.pk).update(sire=dog)

        run = run_now(club.breed)

        assert run.state == RunState.FAILED
        assert "Tarnfold Alder" in run.error
        assert "Tarnfold Birch" in run.error
        assert "Correct a parent" in run.error

    def test_nothing_half_is_stored(self, club: Club, monkeypatch: pytest.MonkeyPatch) -> None:
        make_bred(club)

        def broken(**_facts: Any) -> None:
            raise RuntimeError("the disk is full")

        monkeypatch.setattr(breeding, "append", broken)
        run = run_now(club.breed)

        assert run.state == RunState.FAILED
        assert "the disk is full" in run.error
        assert not RunColumn.objects.exists()
        assert not TraitRun.objects.exists()
        assert latest_run(club.breed.pk) is None

    def test_the_last_good_run_goes_on_speaking(
        self, club: Club, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        make_bred(club)
        run_now(club.breed)
        monkeypatch.setattr(breeding, "compute", lambda *_a, **_k: 1 / 0)

        failed = run_now(club.breed)

        found = latest_run(club.breed.pk)
        assert failed.state == RunState.FAILED
        assert found is not None
        assert found.number == 1


class TestCatchingUp:
    def test_a_breed_that_has_changed_gets_a_run_and_another_none(self, club: Club) -> None:
        quiet = replace(club, breed=make_breed())
        make_dog(quiet)
        make_dog(club)
        breeding.catch_up(by=Actor.system())

        make_accepted(club)
        asked = breeding.catch_up(by=Actor.system())

        assert [(run.breed, run.number) for run in asked] == [(club.breed, 2)]
        assert breeding.catch_up(by=Actor.system()) == []

    def test_two_entries_that_become_one_dog_are_a_change(self, club: Club) -> None:
        kept, dropped = make_dog(club), make_dog(club)
        breeding.catch_up(by=Actor.system())

        merge.merge_dogs(
            by=club.registrar.actor,
            keep=kept.public_id,
            drop=dropped.public_id,
            versions=None,
            reason="the same dog",
            confirmed=[merge.BIRTH_DATE, merge.CHIPS],
        )
        (run,) = breeding.catch_up(by=Actor.system())

        assert (run.number, run.dogs) == (2, 1)

    def test_a_breed_without_dogs_gets_none(self, club: Club) -> None:
        assert breeding.catch_up(by=Actor.system()) == []

    def test_a_failed_run_is_tried_again_after_an_hour_and_not_before(
        self, club: Club, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        make_dog(club)
        with monkeypatch.context() as patch:
            patch.setattr(breeding, "compute", lambda *_a, **_k: 1 / 0)
            (failed,) = breeding.catch_up(by=Actor.system())

        at_once = breeding.catch_up(by=Actor.system())
        BreedingRun.objects.filter(pk=failed.pk).update(
            finished_at=timezone.now() - timedelta(minutes=61)
        )
        (later,) = breeding.catch_up(by=Actor.system())

        assert at_once == []
        assert (later.number, later.state) == (2, RunState.DONE)


class TestTheLease:
    def test_a_run_is_claimed_once(self, club: Club) -> None:
        make_dog(club)
        run = make_waiting(club.breed)

        assert breeding.compute_run(run_id=run.pk)
        assert not breeding.compute_run(run_id=run.pk)

        assert LedgerEntry.objects.filter(action="breeding.run").count() == 1

    def test_another_workers_run_is_left_to_it_while_its_lease_holds(self, club: Club) -> None:
        run = make_waiting(club.breed)
        BreedingRun.objects.filter(pk=run.pk).update(
            state=RunState.RUNNING, claims=1, lease_until=timezone.now() + timedelta(minutes=1)
        )

        assert not breeding.compute_run(run_id=run.pk)
        assert breeding.recover_lost_runs() == []

    def test_a_run_whose_lease_lapsed_is_done_by_the_next(self, club: Club) -> None:
        make_dog(club)
        run = make_waiting(club.breed)
        BreedingRun.objects.filter(pk=run.pk).update(
            state=RunState.RUNNING, claims=1, lease_until=timezone.now() - timedelta(minutes=1)
        )

        recovered = breeding.recover_lost_runs()

        run.refresh_from_db()
        assert recovered == [run]
        assert (run.state, run.claims) == (RunState.DONE, 2)

    def test_a_waiting_run_whose_task_was_lost_is_queued_again(self, club: Club) -> None:
        run = make_waiting(club.breed)
        BreedingRun.objects.filter(pk=run.pk).update(
            lease_until=timezone.now() - timedelta(minutes=1)
        )

        breeding.recover_lost_runs()

        run.refresh_from_db()
        assert run.state == RunState.DONE

    def test_a_run_that_has_cost_three_workers_their_lives_has_failed(self, club: Club) -> None:
        run = make_waiting(club.breed)
        BreedingRun.objects.filter(pk=run.pk).update(
            state=RunState.RUNNING, claims=3, lease_until=timezone.now() - timedelta(minutes=1)
        )

        assert breeding.recover_lost_runs() == []

        run.refresh_from_db()
        assert run.state == RunState.FAILED
        assert "cut short 3 times" in run.error

    def test_a_worker_that_comes_back_late_writes_nothing(
        self, club: Club, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        make_dog(club)
        run = make_waiting(club.breed)

        def overtaken(*given: Any, **named: Any) -> Any:
            BreedingRun.objects.filter(pk=run.pk).update(claims=2)
            return compute(given[0])

        monkeypatch.setattr(breeding, "compute", overtaken)

        assert not breeding.compute_run(run_id=run.pk)

        run.refresh_from_db()
        assert run.state == RunState.RUNNING
        assert not RunColumn.objects.exists()


@pytest.mark.django_db(transaction=True)
class TestOneInstant:
    def test_what_is_accepted_while_reading_is_not_half_in_it(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A dog registered by another connection between two queries is in none of them."""

        club = make_club()
        make_dog(club)
        read_dogs = breeding_inputs._dogs

        def register() -> None:
            make_accepted(club)
            connection.close()

        def disturbed(breed_pk: int) -> Any:
            thread = Thread(target=register)
            thread.start()
            thread.join(timeout=30)
            return read_dogs(breed_pk)

        monkeypatch.setattr(breeding_inputs, "_dogs", disturbed)
        with breeding_inputs.one_snapshot():
            inputs = read_inputs(club.breed)

        assert len(inputs.dog) == 1
        assert all(not len(of.place) for of in inputs.traits)
        assert Dog.objects.count() == 2
