"""The scenario on paper: names, chips, and what is planted in the examinations."""

from collections import Counter
from datetime import date

import numpy as np
import pytest
from django.conf import settings

from registry.demo.cases import invent_club
from registry.demo.scales import ELBOW_EDGES
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
    assert {"returned", "answered", "declined", "withdrawn", "revoked", "corrected"} <= set(fates)


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


def test_some_parents_are_not_on_record_and_some_dogs_come_from_abroad(club: Club) -> None:
    for slug in ("tarn-spaniel", "fell-pointer"):
        later = [dog for dog in club.dogs if dog.breed.slug == slug and dog.generation > 2]
        missing = [dog for dog in later if dog.sire is None or dog.dam is None]
        one = [dog for dog in missing if (dog.sire is None) != (dog.dam is None)]
        abroad = [dog for dog in later if dog.is_imported]

        assert 0.05 < len(missing) / len(later) < 0.12
        assert one
        assert 0.01 < len(abroad) / len(later) < 0.04
        assert all("-A " in dog.studbook_number for dog in abroad)
        assert all(dog.sire is None and dog.dam is None for dog in abroad)
        assert any(dog.is_parent for dog in abroad)


def values_of(club: Club, slug: str, trait: str) -> dict[int, list[tuple[date, float]]]:
    """Of each dog, the day and the mean of both sides of every examination that was accepted."""
    found: dict[int, list[tuple[date, float]]] = {}
    for exam in club.exams:
        if club.dogs[exam.dog].breed.slug != slug or exam.fate not in ("accepted", "answered"):
            continue
        sides = [each for each in exam.body["readings"] if each["trait"] == trait]
        values = [
            float(each["value"])
            if "value" in each
            else float(each["displacement_mm"]) / float(each["head_radius_mm"])
            for each in sides
        ]
        if len(values) == 2:
            found.setdefault(exam.dog, []).append((exam.examined_on, sum(values) / 2))
    return found


@pytest.mark.parametrize("trait", ["hip-laxity", "hip-laxity-compression", "norberg-angle"])
def test_dogs_examined_twice_are_found_nearly_the_same_again(club: Club, trait: str) -> None:
    pairs = [
        (told[0][1], told[-1][1], (told[-1][0] - told[0][0]).days)
        for told in values_of(club, "tarn-spaniel", trait).values()
        if len(told) > 1
    ]
    first, second, days = (np.array(column) for column in zip(*pairs, strict=True))

    # One-way random effects, two findings a dog: 1 - within / (between + within).
    within = ((first - second) ** 2).mean() / 2
    between = ((first + second) / 2).var(ddof=1) - within / 2
    assert len(pairs) >= 30
    assert 0.75 < between / (between + within) < 0.95
    assert days.max() > 700


def test_one_breed_has_grown_tighter_and_the_other_has_not(club: Club) -> None:
    def a_year(slug: str) -> float:
        """The change of the mean index of a birth year, a year."""
        told = values_of(club, slug, "hip-laxity")
        points = [(club.dogs[key].born_on.year, of[0][1]) for key, of in told.items()]
        years, index = (np.array(column) for column in zip(*points, strict=True))
        return float(np.polyfit(years, index, 1)[0])

    assert a_year("tarn-spaniel") < -0.005
    assert abs(a_year("fell-pointer")) < 0.003


def test_now_and_then_a_dog_is_a_few_days_too_young_and_accepted_all_the_same(club: Club) -> None:
    ages = [
        (exam.examined_on - club.dogs[exam.dog].born_on).days
        for exam in club.exams
        if exam.fate == "accepted"
    ]

    # Sixteen weeks are 112 days.
    assert 5 <= sum(age < 112 for age in ages) <= 30
    assert min(ages) == 109


def test_about_one_dog_in_nine_has_a_graded_elbow(club: Club) -> None:
    worst: dict[int, int] = {}
    for exam in club.exams:
        told = [r["value"] for r in exam.body["readings"] if r["trait"] == "elbow-grade"]
        grades = [ELBOW_EDGES.index(word) for word in told]
        if grades and exam.fate in ("accepted", "answered"):
            worst[exam.dog] = max(grades)
    affected = sum(grade > 0 for grade in worst.values()) / len(worst)

    assert 0.09 < affected < 0.13


def test_one_clinic_measures_clearly_higher(club: Club) -> None:
    index: dict[str, list[float]] = {}
    for exam in club.exams:
        if club.dogs[exam.dog].breed.slug == "tarn-spaniel":
            told = [r for r in exam.body["readings"] if r["trait"] == "hip-laxity"]
            index.setdefault(exam.clinic, []).extend(
                float(r["value"]) for r in told if "value" in r
            )
    others = np.mean([each for key, told in index.items() if key != "ostrow" for each in told])

    assert 0.02 < np.mean(index["ostrow"]) - others < 0.07


def test_breeders_differ_in_how_many_of_a_litter_they_have_examined(club: Club) -> None:
    examined = {exam.dog for exam in club.exams}
    litters: dict[int, list[bool]] = {}
    for dog in club.dogs:
        if dog.litter is not None and 2 <= (TODAY - dog.born_on).days / 365.25 <= 10:
            litters.setdefault(dog.litter, []).append(dog.key in examined)
    shares = [sum(told) / len(told) for told in litters.values() if len(told) >= 5]

    assert sum(share >= 0.9 for share in shares) > 10
    assert sum(share <= 0.35 for share in shares) > 10


def test_the_same_seed_and_day_give_the_same_club() -> None:
    first, again = make_invented_club(200), make_invented_club(200)

    assert first.dogs == again.dogs
    assert first.exams == again.exams
