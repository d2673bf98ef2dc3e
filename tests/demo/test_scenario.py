"""The scenario on paper: names, chips, and what is planted in the examinations."""

from collections import Counter
from datetime import date

import pytest
from django.conf import settings

from registry.demo.cases import invent_club
from registry.demo.scenario import Club
from registry.demo.words import read_words
from registry.science.microchip import parse_chip

TODAY = date(2026, 11, 25)


def make_invented_club(size: int) -> Club:
    words = read_words(settings.BASE_DIR / "fixtures" / "demo.json")
    return invent_club(words, today=TODAY, size=size, seed=words.seed)


@pytest.fixture(scope="module")
def club() -> Club:
    return make_invented_club(3000)


def test_the_club_has_the_size_it_promises(club: Club) -> None:
    fates = Counter(exam.fate for exam in club.exams)

    assert 2950 <= len(club.dogs) <= 3050
    assert fates["accepted"] >= 1500
    assert 25 <= fates["waiting"] <= 50
    assert {"returned", "declined", "withdrawn", "revoked", "corrected"} <= set(fates)


def test_every_dog_has_a_name_of_its_own(club: Club) -> None:
    names = [dog.name for dog in club.dogs]

    assert all(name.strip() for name in names)
    assert len(set(names)) == len(names)


def test_every_chip_is_sound_and_no_two_dogs_share_one(club: Club) -> None:
    chips = [dog.chip for dog in club.dogs if dog.chip]

    assert all(parse_chip(chip).text15 == chip for chip in chips)
    assert len(set(chips)) == len(chips)


def test_stud_book_numbers_are_not_given_twice(club: Club) -> None:
    numbers = [dog.studbook_number for dog in club.dogs if dog.studbook_number]

    assert len(set(numbers)) == len(numbers)


def test_the_small_breed_has_a_trait_with_fewer_than_twenty_tested_dogs(club: Club) -> None:
    tested: dict[str, set[int]] = {}
    for exam in club.exams:
        if exam.fate == "accepted" and club.dogs[exam.dog].breed.slug == "harbour-spitz":
            for reading in exam.body["readings"]:
                tested.setdefault(reading["trait"], set()).add(exam.dog)

    assert 0 < len(tested["elbow-grade"]) < 20
    assert 20 <= len(tested["hip-laxity"]) < 90


def test_some_owners_withhold_their_consent(club: Club) -> None:
    agreed = Counter(exam.body["consent_to_publish"] for exam in club.exams)

    assert 0.1 < agreed[False] / len(club.exams) < 0.3


def test_no_dog_is_examined_after_its_death_or_before_its_birth(club: Club) -> None:
    for exam in club.exams:
        dog = club.dogs[exam.dog]
        assert dog.born_on < exam.examined_on <= TODAY
        assert dog.died_on is None or exam.examined_on <= dog.died_on


def test_no_dead_dog_has_a_younger_litter(club: Club) -> None:
    for dog in club.dogs:
        for parent in (dog.sire, dog.dam):
            if parent is not None:
                died_on = club.dogs[parent].died_on
                assert died_on is None or died_on >= dog.born_on


def test_the_same_seed_and_day_give_the_same_club() -> None:
    first, again = make_invented_club(200), make_invented_club(200)

    assert first.dogs == again.dogs
    assert first.exams == again.exams
