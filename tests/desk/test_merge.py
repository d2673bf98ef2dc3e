"""Two entries of one dog become one: everything moves, nothing that was known is lost."""

from __future__ import annotations

import json
from collections.abc import Collection
from datetime import date
from typing import Any

import pytest
from django.db.models import ForeignObjectRel

from registry.desk import dogs, drafts
from registry.desk.decide import accept
from registry.desk.distributions import compare_distributions
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.desk.merge import BIRTH_DATE, CHIPS, MOVED, merge_dogs
from registry.desk.submit import submit
from registry.ledger.verify import verify
from registry.models import CountedValue, Dog, DogAlias, Evaluation, LedgerEntry, State
from registry.queries.search import find_by_chip, find_dogs, near_chips
from registry.queries.timeline import timeline_of_dog
from tests.factories import (
    Club,
    make_accepted,
    make_body,
    make_breed,
    make_chip,
    make_club,
    make_dog,
    make_submitted,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def merged(
    club: Club, keep: Dog, drop: Dog, *, confirmed: Collection[str] = (CHIPS,), **given: Any
) -> Dog:
    return merge_dogs(
        **{
            "by": club.registrar.actor,
            "keep": keep.public_id,
            "drop": drop.public_id,
            "versions": None,
            "reason": "one dog, entered twice",
            "confirmed": confirmed,
            **given,
        }
    )


def refused(club: Club, words: str, keep: Dog, drop: Dog, **given: Any) -> None:
    with pytest.raises(Invalid, match=words):
        merged(club, keep, drop, **given)
    assert Dog.objects.filter(pk__in=(keep.pk, drop.pk)).count() == 2


def test_every_relation_of_a_dog_is_moved() -> None:
    related = {
        (relation.related_model, relation.field.name)
        for relation in Dog._meta.get_fields()
        if isinstance(relation, ForeignObjectRel)
    }

    assert related == {(rows.model, field) for rows, field in MOVED}
    assert not Dog._meta.many_to_many


class TestWhatMoves:
    def test_results_offspring_and_drafts(self, club: Club) -> None:
        keep, drop = (make_dog(club, born_on=date(2018, 1, 1)) for _ in range(2))
        evaluation = make_submitted(club, drop)
        draft = drafts.start_draft(by=club.nurse.actor, dog_id=drop.public_id)
        pup = make_dog(club, dam=drop.public_id)

        merged(club, keep, drop)

        for row in (evaluation, draft, pup):
            row.refresh_from_db()
        assert (evaluation.dog, draft.dog, pup.dam) == (keep, keep, keep)
        assert not Dog.objects.filter(pk=drop.pk).exists()

    def test_of_two_results_the_later_counts_once(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        older = make_accepted(club, keep, examined_on="2026-09-01", left="0.50", right="0.50")
        newer = make_accepted(club, drop, examined_on="2026-10-02", left="0.31", right="0.35")

        merged(club, keep, drop)

        (counting,) = CountedValue.objects.filter(counted_until=None)
        assert (counting.dog, counting.evaluation_id) == (keep, newer.evaluation_id)
        states = dict(Evaluation.objects.values_list("pk", "state"))
        assert states[older.evaluation_id] == State.REPLACED
        assert states[newer.evaluation_id] == State.ACCEPTED
        assert compare_distributions().agrees

    def test_the_only_result_goes_on_counting(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        certificate = make_accepted(club, drop)

        merged(club, keep, drop)

        assert CountedValue.objects.get(counted_until=None).dog == keep
        assert Evaluation.objects.get(pk=certificate.evaluation_id).state == State.ACCEPTED
        assert compare_distributions().agrees

    def test_empty_facts_are_filled_and_others_stay(self, club: Club) -> None:
        sire = make_dog(club, sex="M", born_on=date(2018, 1, 1))
        keep = make_dog(club, chip="", colour="brown", call_name="")
        drop = make_dog(
            club, colour="liver", call_name="Juno", studbook_number="S 1", sire=sire.public_id
        )

        dog = merged(club, keep, drop)

        dog.refresh_from_db()
        assert (dog.colour, dog.call_name, dog.studbook_number) == ("brown", "Juno", "S 1")
        assert (dog.sire, dog.chip, dog.version) == (sire, drop.chip, 2)

    def test_one_entry_holds_both_ids_and_what_the_other_said(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club, colour="liver")
        pup = make_dog(club, dam=drop.public_id, born_on=date(2025, 1, 1))
        before = LedgerEntry.objects.count()

        merged(club, keep, drop)

        entry = LedgerEntry.objects.latest("seq")
        values = json.loads(entry.body)["values"]
        assert LedgerEntry.objects.count() == before + 1
        assert (entry.action, entry.dog) == ("dog.merged", keep.public_id)
        assert values["merged_from"] == {"from": drop.public_id, "to": keep.public_id}
        assert values["dropped.colour"] == {"from": "liver", "to": None}
        assert values["dropped.chip"]["from"] == drop.chip
        assert values["moved.offspring"]["to"] == [pup.public_id]
        assert verify().is_whole

    def test_the_history_of_both_is_the_kept_dogs(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)

        merged(club, keep, drop)

        actions = [entry.action for entry in timeline_of_dog(keep.public_id)]
        assert actions == ["dog.merged", "dog.registered", "dog.registered"]


class TestTheOldIdAndChip:
    def test_the_chip_finds_the_kept_dog(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        chip = drop.chip or ""

        merged(club, keep, drop)

        found = find_by_chip(chip)
        assert found is not None
        assert found.public_id == keep.public_id
        assert dogs.dog_with_chip(chip, "/dam") == keep.public_id
        assert [near.public_id for near in near_chips(chip[:-1] + str((int(chip[-1]) + 1) % 10))]

    def test_the_chip_cannot_be_registered_again(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        merged(club, keep, drop)

        with pytest.raises(Invalid, match=f"registered for {keep.name}"):
            make_dog(club, chip=drop.chip)

    def test_a_result_for_the_old_id_or_chip_is_the_kept_dogs(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        merged(club, keep, drop)

        for named in ({"id": drop.public_id}, {"chip": drop.chip}):
            body = {**make_body(keep), "dog": named}
            assert submit(by=club.nurse.actor, body=body).dog == keep

    def test_the_second_chip_read_at_an_exam_is_no_wrong_dog(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        merged(club, keep, drop)

        evaluation = make_submitted(
            club,
            keep,
            conditions={
                "restraint": "sedation",
                "chip_read": True,
                "weight_kg": "18.5",
                "chip_as_read": drop.chip,
            },
        )

        assert [flag.code for flag in evaluation.flags.all()] == []

    def test_the_old_name_finds_nothing(self, club: Club) -> None:
        keep, drop = make_dog(club, name="Tarnfold Juno"), make_dog(club, name="Mossgarth Zephyr")

        merged(club, keep, drop)

        assert find_dogs("Mossgarth Zephyr") == []

    def test_a_chain_of_merges_leads_to_the_last(self, club: Club) -> None:
        first, second, third = (make_dog(club) for _ in range(3))
        merged(club, second, first)
        second.refresh_from_db()

        merged(club, third, second)

        assert set(DogAlias.objects.values_list("public_id", "dog")) == {
            (first.public_id, third.pk),
            (second.public_id, third.pk),
        }

    def test_a_parent_named_by_the_old_id_is_the_kept_dog(self, club: Club) -> None:
        keep, drop = (make_dog(club, born_on=date(2018, 1, 1)) for _ in range(2))
        merged(club, keep, drop)

        assert make_dog(club, dam=drop.public_id).dam == keep


class TestWhatSpeaksAgainst:
    def test_other_sexes_and_breeds(self, club: Club) -> None:
        dog = make_dog(club)

        refused(club, "One is female and one is male", dog, make_dog(club, sex="M"))
        refused(club, "different breeds", dog, make_dog(club, breed=make_breed().slug))

    def test_an_ancestor_of_the_other(self, club: Club) -> None:
        first = make_dog(club, born_on=date(2015, 1, 1))
        second = make_dog(club, born_on=date(2018, 1, 1), dam=first.public_id)
        third = make_dog(club, dam=second.public_id)

        both = (CHIPS, BIRTH_DATE)
        refused(club, "ancestor of the other", third, first, confirmed=both)
        refused(club, "ancestor of the other", first, third, confirmed=both)

    def test_other_birth_days_want_a_confirmation(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club, born_on=date(2023, 1, 16))

        refused(club, "different days", keep, drop)
        merged(club, keep, drop, confirmed=(CHIPS, BIRTH_DATE))

        assert Dog.objects.get(pk=keep.pk).born_on == date(2023, 1, 15)

    def test_two_chips_want_a_confirmation(self, club: Club) -> None:
        refused(club, "different chips", make_dog(club), make_dog(club), confirmed=())

    def test_litters_that_no_bitch_could_have(self, club: Club) -> None:
        keep, drop = (make_dog(club, born_on=date(2018, 1, 1)) for _ in range(2))
        make_dog(club, dam=keep.public_id, born_on=date(2022, 1, 1))
        make_dog(club, dam=drop.public_id, born_on=date(2022, 2, 1))

        refused(club, "about 63 days", keep, drop)

    def test_offspring_it_is_too_young_for(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club, born_on=date(2018, 1, 1))
        make_dog(club, dam=drop.public_id, born_on=date(2022, 1, 1))

        refused(club, "too young", keep, drop, confirmed=(CHIPS, BIRTH_DATE))

    def test_itself(self, club: Club) -> None:
        dog = make_dog(club)

        with pytest.raises(Invalid, match="same entry"):
            merged(club, dog, dog)

    def test_no_reason(self, club: Club) -> None:
        refused(club, "Say why", make_dog(club), make_dog(club), reason=" ")

    def test_only_a_registrar_merges(self, club: Club) -> None:
        for person in (club.nurse, club.secretary):
            with pytest.raises(Refused):
                merged(club, make_dog(club), make_dog(club), by=person.actor)

    def test_nobody_merges_where_they_may_not_decide(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        owner = {"full_name": "R. Own", "email": club.registrar.user.email}
        make_submitted(club, drop, owner=owner)

        with pytest.raises(Refused, match="your own dog"):
            merged(club, keep, drop)

        merged(club, keep, drop, by=club.second_registrar.actor)

    def test_a_change_meanwhile(self, club: Club) -> None:
        with pytest.raises(Conflict, match="Compare them again"):
            merged(club, make_dog(club), make_dog(club), versions=(1, 2))

    def test_a_dog_merged_already_or_unknown(self, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        merged(club, keep, drop)

        with pytest.raises(Conflict, match=f"merged into {keep.name} already"):
            merged(club, make_dog(club), drop)
        with pytest.raises(NotFound):
            merge_dogs(
                by=club.registrar.actor,
                keep=keep.public_id,
                drop="nobody",
                versions=None,
                reason="one dog",
            )


def test_a_result_decided_after_the_merge_counts_for_the_kept_dog(club: Club) -> None:
    keep, drop = make_dog(club), make_dog(club, chip=make_chip())
    evaluation = make_submitted(club, drop)
    merged(club, keep, drop)

    accept(by=club.registrar.actor, evaluation_id=evaluation.public_id)

    assert CountedValue.objects.get(counted_until=None).dog == keep
