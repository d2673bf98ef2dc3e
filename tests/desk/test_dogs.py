"""Dogs are registered, put right and confirmed; facts that cannot be are refused at their place."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from django.utils import timezone

from registry.desk.actor import Actor
from registry.desk.dogs import (
    DogFacts,
    confirm_dog,
    correct_dog,
    dog_with_chip,
    facts_from,
    register_dog,
)
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.models import Dog, LedgerEntry
from tests.factories import Club, make_accepted, make_breed, make_chip, make_club, make_dog

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def facts_of(dog: Dog) -> DogFacts:
    """What the registrar's page shows of a dog, ready to be changed."""
    return DogFacts(
        breed=dog.breed.slug,
        name=dog.name,
        sex=dog.sex,
        born_on=dog.born_on,
        colour=dog.colour,
        chip=dog.chip or "",
        sire=dog.sire.public_id if dog.sire else "",
        dam=dog.dam.public_id if dog.dam else "",
    )


def corrected(club: Club, dog: Dog, *, by: Actor | None = None, **facts: Any) -> Dog:
    return correct_dog(
        by=by or club.registrar.actor,
        dog_id=dog.public_id,
        version=dog.version,
        facts=replace(facts_of(dog), **facts),
        reason="the papers say so",
    )


def refused(club: Club, pointer: str, words: str, **facts: Any) -> None:
    before = Dog.objects.count()
    with pytest.raises(Invalid) as said:
        make_dog(club, **facts)
    assert [problem.pointer for problem in said.value.problems] == [pointer]
    assert words in said.value.problems[0].message
    assert Dog.objects.count() == before


class TestRegister:
    def test_a_clinics_dog_waits_to_be_confirmed(self, club: Club) -> None:
        assert not make_dog(club, by=club.nurse.actor).is_confirmed

    def test_a_registrars_dog_is_confirmed(self, club: Club) -> None:
        assert make_dog(club).is_confirmed

    def test_the_chip_is_kept_as_fifteen_digits(self, club: Club) -> None:
        assert make_dog(club, chip="Chip 276 098-106234567").chip == "276098106234567"

    def test_dogs_without_a_chip_do_not_clash(self, club: Club) -> None:
        assert make_dog(club, chip="").chip is None
        assert make_dog(club, chip=" ").chip is None

    def test_its_entry_holds_what_was_said(self, club: Club) -> None:
        dam = make_dog(club, born_on=date(2020, 1, 1))

        dog = make_dog(club, dam=dam.public_id)

        entry = LedgerEntry.objects.latest("seq")
        values = json.loads(entry.body)["values"]
        assert (entry.action, entry.dog) == ("dog.registered", dog.public_id)
        assert values["dam"] == {"from": None, "to": dam.public_id}
        assert values["breed"] == {"from": None, "to": club.breed.slug}
        assert "sire" not in values

    @pytest.mark.parametrize(
        ("facts", "pointer", "words"),
        [
            ({"name": " "}, "/name", "registered name"),
            ({"name": "x" * 121}, "/name", "120 characters"),
            ({"name": "Ju\x00no"}, "/name", "cannot be printed"),
            ({"call_name": "x" * 41}, "/call_name", "40 characters"),
            ({"colour": "x" * 61}, "/colour", "60 characters"),
            ({"studbook_number": "x" * 41}, "/studbook_number", "40 characters"),
            ({"breed": "unknown"}, "/breed", "breed of this register"),
            ({"sex": "f"}, "/sex", "female (F) or male (M)"),
            ({"born_on": date(1979, 12, 31)}, "/born_on", "1980 to today"),
            ({"died_on": date(2022, 1, 1)}, "/died_on", "after it is born"),
            ({"chip": "27609810623456"}, "/chip", "15 digits. This has 14"),
            ({"chip": "2.76098E+14"}, "/chip", "spreadsheet has rounded"),
            ({"chip": "999098106234567"}, "/chip", "for testing readers"),
            ({"chip": "001098106234567"}, "/chip", "code 001"),
            ({"chip": "27609810623456O"}, "/chip", "the digit 0"),
            ({"sire": "nobody"}, "/sire", "no dog with this id"),
            ({"dam": "nobody"}, "/dam", "no dog with this id"),
        ],
    )
    def test_a_fact_that_cannot_be_is_refused(
        self, club: Club, facts: dict[str, Any], pointer: str, words: str
    ) -> None:
        refused(club, pointer, words, **facts)

    def test_a_birth_tomorrow_is_refused(self, club: Club) -> None:
        refused(club, "/born_on", "1980 to today", born_on=timezone.localdate() + timedelta(days=1))

    def test_every_fault_is_said_at_once(self, club: Club) -> None:
        with pytest.raises(Invalid) as said:
            make_dog(club, name="", sex="", chip="1", breed="")

        pointers = {problem.pointer for problem in said.value.problems}
        assert pointers == {"/name", "/sex", "/chip", "/breed"}

    def test_the_chip_of_another_dog_names_that_dog(self, club: Club) -> None:
        other = make_dog(club)

        refused(club, "/chip", f"registered for {other.name}", chip=other.chip)


class TestParents:
    def test_a_bitch_is_no_sire_and_a_dog_no_dam(self, club: Club) -> None:
        bitch = make_dog(club, sex="F", born_on=date(2018, 1, 1))
        male = make_dog(club, sex="M", born_on=date(2018, 1, 1))

        refused(club, "/sire", "is not male", sire=bitch.public_id)
        refused(club, "/dam", "is not female", dam=male.public_id)

    def test_a_parent_younger_than_its_child_is_refused(self, club: Club) -> None:
        young = make_dog(club, born_on=date(2024, 1, 1))

        refused(club, "/dam", "too young to be a parent", dam=young.public_id)

    @pytest.mark.parametrize(("days", "is_taken"), [(149, False), (150, True)])
    def test_a_parent_is_at_least_five_months_old(
        self, club: Club, days: int, is_taken: bool
    ) -> None:
        dam = make_dog(club, born_on=date(2023, 1, 15) - timedelta(days=days))

        if is_taken:
            assert make_dog(club, dam=dam.public_id).dam == dam
        else:
            refused(club, "/dam", "too young", dam=dam.public_id)

    def test_a_dog_is_not_its_own_parent(self, club: Club) -> None:
        dog = make_dog(club)

        with pytest.raises(Invalid) as said:
            corrected(club, dog, dam=dog.public_id)

        assert [problem.pointer for problem in said.value.problems] == ["/dam"]

    def test_a_dog_is_not_its_own_ancestor(self, club: Club) -> None:
        first = make_dog(club, born_on=date(2015, 1, 1))
        second = make_dog(club, born_on=date(2017, 1, 1), dam=first.public_id)
        third = make_dog(club, born_on=date(2019, 1, 1), dam=second.public_id)

        with pytest.raises(Invalid, match="descends from this dog") as said:
            # The birth year is changed with it, so that age alone would let it pass.
            corrected(club, first, dam=third.public_id, born_on=date(2021, 1, 1))

        assert said.value.problems[0].pointer == "/dam"

    def test_two_dogs_may_share_their_parents(self, club: Club) -> None:
        sire = make_dog(club, sex="M", born_on=date(2018, 1, 1))
        dam = make_dog(club, born_on=date(2018, 1, 1))

        pair = [make_dog(club, sire=sire.public_id, dam=dam.public_id) for _ in range(2)]

        assert {(dog.sire_id, dog.dam_id) for dog in pair} == {(sire.pk, dam.pk)}


class TestOneLitter:
    def test_one_dog_is_not_both_parents(self, club: Club) -> None:
        male = make_dog(club, sex="M", born_on=date(2018, 1, 1))

        with pytest.raises(Invalid, match="both sire and dam"):
            make_dog(club, sire=male.public_id, dam=male.public_id)

    def test_a_parent_of_another_breed_is_refused(self, club: Club) -> None:
        other = make_breed()
        dam = make_dog(club, born_on=date(2018, 1, 1), breed=other.slug)

        refused(club, "/dam", "another breed", dam=dam.public_id)

    def test_a_dam_is_alive_when_she_whelps(self, club: Club) -> None:
        dam = make_dog(club, born_on=date(2018, 1, 1), died_on=date(2023, 1, 14))

        refused(club, "/dam", "died on 14 January 2023", dam=dam.public_id)

    def test_a_dam_may_die_on_the_day_she_whelps(self, club: Club) -> None:
        dam = make_dog(club, born_on=date(2018, 1, 1), died_on=date(2023, 1, 15))

        assert make_dog(club, dam=dam.public_id).dam == dam

    def test_a_sire_may_be_dead_for_years_since_semen_is_frozen(self, club: Club) -> None:
        sire = make_dog(club, sex="M", born_on=date(2010, 1, 1), died_on=date(2019, 1, 1))

        assert make_dog(club, sire=sire.public_id).sire == sire

    @pytest.mark.parametrize(
        ("days", "is_taken"), [(-60, True), (-59, False), (0, True), (1, False), (60, True)]
    )
    def test_a_bitch_does_not_whelp_twice_within_one_pregnancy(
        self, club: Club, days: int, is_taken: bool
    ) -> None:
        dam = make_dog(club, born_on=date(2018, 1, 1))
        make_dog(club, dam=dam.public_id)
        born_on = date(2023, 1, 15) + timedelta(days=days)

        if is_taken:
            assert make_dog(club, dam=dam.public_id, born_on=born_on).dam == dam
        else:
            refused(club, "/dam", "about 63 days", dam=dam.public_id, born_on=born_on)

    def test_the_birth_day_of_a_litter_can_be_put_right_dog_by_dog(self, club: Club) -> None:
        dam = make_dog(club, born_on=date(2018, 1, 1))
        litter = [make_dog(club, dam=dam.public_id) for _ in range(3)]

        for pup in litter:
            corrected(club, pup, born_on=date(2023, 1, 18))

        assert set(dam.whelped.values_list("born_on", flat=True)) == {date(2023, 1, 18)}

    def test_a_chip_is_not_registered_twice_in_another_spelling(self, club: Club) -> None:
        make_dog(club, chip="276098106234567")

        refused(club, "/chip", "is registered for", chip="276 098-106 234 567")


class TestCorrectAParent:
    def refused(self, club: Club, dog: Dog, pointer: str, words: str, **facts: Any) -> None:
        with pytest.raises(Invalid, match=words) as said:
            corrected(club, dog, **facts)
        assert [problem.pointer for problem in said.value.problems] == [pointer]

    def test_its_sex_fits_its_offspring(self, club: Club) -> None:
        dam = make_dog(club, born_on=date(2018, 1, 1))
        make_dog(club, name="Tarnfold Ivy", dam=dam.public_id)

        self.refused(club, dam, "/sex", "parent of Tarnfold Ivy", sex="M")

    def test_its_birth_fits_its_offspring(self, club: Club) -> None:
        sire = make_dog(club, sex="M", born_on=date(2018, 1, 1))
        for name in ("Tarnfold Ivy", "Tarnfold Oak"):
            make_dog(club, name=name, sire=sire.public_id)

        self.refused(club, sire, "/born_on", "Tarnfold Ivy and 1 more", born_on=date(2022, 12, 1))

    def test_its_breed_fits_its_offspring(self, club: Club) -> None:
        dam = make_dog(club, born_on=date(2018, 1, 1))
        make_dog(club, dam=dam.public_id)

        self.refused(club, dam, "/breed", "offspring of another breed", breed=make_breed().slug)

    def test_a_dams_death_fits_her_offspring(self, club: Club) -> None:
        dam = make_dog(club, born_on=date(2018, 1, 1))
        make_dog(club, dam=dam.public_id)

        self.refused(club, dam, "/died_on", "before she whelped", died_on=date(2022, 12, 31))

    def test_a_sires_death_need_not(self, club: Club) -> None:
        sire = make_dog(club, sex="M", born_on=date(2018, 1, 1))
        make_dog(club, sire=sire.public_id)

        assert corrected(club, sire, died_on=date(2020, 1, 1)).died_on == date(2020, 1, 1)

    def test_an_old_fault_stops_no_other_correction(self, club: Club) -> None:
        dam = make_dog(club, born_on=date(2018, 1, 1))
        pup = make_dog(club, dam=dam.public_id)
        Dog.objects.filter(pk=dam.pk).update(died_on=date(2019, 1, 1))

        assert corrected(club, pup, colour="white").colour == "white"


class TestCorrect:
    def test_its_entry_holds_only_what_changed(self, club: Club) -> None:
        dog = make_dog(club)
        before = dog.name

        corrected(club, dog, name="Tarnfold Juniper")

        entry = LedgerEntry.objects.latest("seq")
        assert entry.action == "dog.corrected"
        assert json.loads(entry.body)["values"] == {
            "name": {"from": before, "to": "Tarnfold Juniper"}
        }

    def test_an_older_page_does_not_overwrite(self, club: Club) -> None:
        dog = make_dog(club)
        corrected(club, dog, colour="white")

        with pytest.raises(Conflict, match="while you had it open"):
            corrected(club, dog, colour="black")

        dog.refresh_from_db()
        assert (dog.colour, dog.version) == ("white", 2)

    def test_a_refused_correction_keeps_the_version(self, club: Club) -> None:
        dog = make_dog(club)

        with pytest.raises(Invalid):
            corrected(club, dog, name="")

        dog.refresh_from_db()
        assert dog.version == 1

    def test_it_keeps_its_own_chip(self, club: Club) -> None:
        dog = make_dog(club)

        assert corrected(club, dog, colour="white").chip == dog.chip

    def test_its_results_move_to_the_other_breed(self, club: Club) -> None:
        dog = make_dog(club)
        make_accepted(club, dog)
        other = make_breed()

        corrected(club, dog, breed=other.slug)

        assert list(other.distributioncell_set.values_list("dogs", flat=True)) == [1]
        assert not club.breed.distributioncell_set.exists()

    def test_it_wants_a_reason(self, club: Club) -> None:
        dog = make_dog(club)

        with pytest.raises(Invalid, match="Say why"):
            correct_dog(
                by=club.registrar.actor,
                dog_id=dog.public_id,
                version=1,
                facts=facts_of(dog),
                reason=" ",
            )

    def test_a_clinic_corrects_nothing(self, club: Club) -> None:
        with pytest.raises(Refused):
            corrected(club, make_dog(club), by=club.nurse.actor)

    def test_a_missing_dog_is_not_found(self, club: Club) -> None:
        with pytest.raises(NotFound):
            correct_dog(
                by=club.registrar.actor,
                dog_id="nobody",
                version=1,
                facts=facts_of(make_dog(club)),
                reason="the papers say so",
            )


class TestConfirm:
    def test_confirming_twice_is_one_entry(self, club: Club) -> None:
        dog = make_dog(club, by=club.nurse.actor)

        for _ in range(2):
            assert confirm_dog(by=club.registrar.actor, dog_id=dog.public_id).is_confirmed

        assert LedgerEntry.objects.filter(action="dog.confirmed").count() == 1

    def test_only_a_registrar_confirms(self, club: Club) -> None:
        dog = make_dog(club, by=club.nurse.actor)

        for person in (club.nurse, club.secretary):
            with pytest.raises(Refused):
                confirm_dog(by=person.actor, dog_id=dog.public_id)

    def test_a_missing_dog_is_not_found(self, club: Club) -> None:
        with pytest.raises(NotFound):
            confirm_dog(by=club.registrar.actor, dog_id="nobody")


class TestByChip:
    def test_it_is_found_however_it_is_typed(self, club: Club) -> None:
        dog = make_dog(club, chip="276098106234567")

        assert dog_with_chip(" 276.098.106.234.567 ", "/dam") == dog.public_id

    def test_no_text_is_no_dog(self) -> None:
        assert dog_with_chip("  ", "/dam") == ""

    @pytest.mark.parametrize(
        ("text", "words"), [("12345", "15 digits"), ("276098106234567", "No dog has this chip")]
    )
    def test_an_unknown_one_is_said_at_its_field(self, text: str, words: str) -> None:
        with pytest.raises(Invalid, match=words) as said:
            dog_with_chip(text, "/dam")

        assert said.value.problems[0].pointer == "/dam"


class TestFactsFromJson:
    GOOD = {"breed": "tarn-spaniel", "name": "Juno", "sex": "F", "born_on": "2023-01-15"}

    def test_what_is_not_said_is_empty(self) -> None:
        facts = facts_from({**self.GOOD, "chip": None})

        assert facts == DogFacts("tarn-spaniel", "Juno", "F", date(2023, 1, 15))

    @pytest.mark.parametrize(
        ("members", "pointer", "words"),
        [
            ({"microchip": "x"}, "/microchip", "no such field"),
            ({"name": 7}, "/name", "as text"),
            ({"chip": 276098106234567}, "/chip", "as text"),
            ({"born_on": None}, "/born_on", "year-month-day"),
            ({"born_on": "15.1.2023"}, "/born_on", "year-month-day"),
            ({"born_on": "2023-W03-7"}, "/born_on", "year-month-day"),
            ({"died_on": "soon"}, "/died_on", "year-month-day"),
        ],
    )
    def test_a_member_that_cannot_be_read_is_named(
        self, members: dict[str, Any], pointer: str, words: str
    ) -> None:
        with pytest.raises(Invalid, match=words) as said:
            facts_from({**self.GOOD, **members})

        assert [problem.pointer for problem in said.value.problems] == [pointer]


def test_a_chip_taken_in_between_is_a_conflict(club: Club, monkeypatch: pytest.MonkeyPatch) -> None:
    other = make_dog(club)
    mine = DogFacts(club.breed.slug, "Tarnfold Ivy", "F", date(2023, 1, 15), chip=make_chip())
    checked = {"breed": club.breed, "name": "Tarnfold Ivy", "call_name": "", "sex": "F"}
    checked |= {"born_on": mine.born_on, "died_on": None, "colour": "", "chip": other.chip}
    checked |= {"studbook_number": "", "sire": None, "dam": None}
    # As if the other dog had been registered after this one was checked.
    monkeypatch.setattr("registry.desk.dogs._checked", lambda _facts: checked)

    with pytest.raises(Conflict, match="registered with this chip just now"):
        register_dog(by=club.registrar.actor, facts=mine)
