"""A standing in sentences: rounded by the number of dogs, complete without a picture."""

from __future__ import annotations

import pytest

from registry.science.standing import Span, Standing
from registry.wording.standings import (
    TraitWords,
    grade_sentences,
    measured_from,
    short_grades,
    short_standing,
    standing_sentences,
    too_few,
)

WORDS = TraitWords("tighter", "looser", "hip")


def _sentences(better: int, worse: int, equal: int = 0, second: Span | None = None) -> list[str]:
    place = Standing.of(better, equal, worse)
    return standing_sentences(place, dog="Juno", words=WORDS, second=second)


def test_the_first_words_say_how_many_of_a_hundred() -> None:
    assert _sentences(98, 313)[0] == (
        "Of 100 other tested dogs of this breed, about 25 have a tighter hip than Juno. "
        "About 75 have a looser one."
    )


def test_few_dogs_are_said_as_they_are() -> None:
    assert _sentences(14, 42)[0] == (
        "Of the 56 other tested dogs of this breed, 14 have a tighter hip than Juno. "
        "42 have a looser one."
    )


def test_one_dog_has() -> None:
    assert _sentences(1, 28)[0] == (
        "Of the 29 other tested dogs of this breed, 1 has a tighter hip than Juno. "
        "28 have a looser one."
    )


@pytest.mark.parametrize(
    ("better", "worse", "said"),
    [(24, 75, "24 have"), (73, 227, "about 25 have"), (576, 1824, "about 24 have")],
)
def test_fewer_dogs_are_rounded_more(better: int, worse: int, said: str) -> None:
    assert said in _sentences(better, worse)[0]


def test_what_a_second_exam_could_give_is_said_in_numbers() -> None:
    assert _sentences(14, 42, second=Span(3, 30))[-1] == (
        "A second exam of the same dog could give 3 to 30 of 56 tighter."
    )
    assert _sentences(140, 260, second=Span(100, 252))[-1] == (
        "A second exam of the same dog could give 25 to 65 of 100 tighter."
    )


def test_the_range_names_where_it_comes_from() -> None:
    assert "within a dog 0.041, from 149 repeat exams." in measured_from("0.041", 149, months=24)
    published = measured_from("1.2°", 0, months=24, source="Fell (2020)")
    assert "within a dog 1.2° (Fell (2020))." in published
    assert "repeat" not in published


def test_where_it_is_not_known_that_is_said() -> None:
    assert _sentences(14, 42)[-1] == (
        "How far a second exam of the same dog might differ is not known here."
    )


def test_nobody_a_few_and_nearly_all_are_told_apart() -> None:
    assert "none have a tighter" in _sentences(0, 140)[0]
    assert "All have a looser" in _sentences(0, 140)[0]
    assert "fewer than 5 have a tighter" in _sentences(1, 140)[0]
    assert "More than 95 have a looser" in _sentences(1, 140)[0]


def test_the_same_are_not_rounded_away() -> None:
    # One better, 98 the same, none worse.
    assert "98 are the same." in _sentences(1, 0, equal=98)
    assert "More than 95 are the same." in _sentences(1, 0, equal=399)


def test_below_twenty_others_nothing_is_compared() -> None:
    assert _sentences(3, 4) == ["Too few other tested dogs (7) to compare."]


def test_no_others_at_all_is_said_so() -> None:
    assert too_few(0) == "No other tested dogs to compare with."


def test_the_short_form_says_the_same() -> None:
    many, few = Standing.of(98, 0, 313), Standing.of(14, 0, 42)

    assert short_standing(many, words=WORDS) == "About 25 of 100 tighter, about 75 of 100 looser"
    assert short_standing(few, words=WORDS) == "14 of 56 tighter, 42 of 56 looser"


def test_the_short_form_of_a_grade_speaks_of_grades() -> None:
    assert short_grades(Standing.of(0, 243, 188)) == (
        "None of 100 a better grade, about 55 the same, about 45 a worse one"
    )
    assert short_grades(Standing.of(4, 10, 6)) == (
        "4 of 20 a better grade, 10 the same, 6 a worse one"
    )
    assert short_grades(Standing.of(1, 2, 3)) == "Too few other tested dogs (6) to compare."


def test_which_end_is_better_is_said() -> None:
    assert "Tighter is better." in _sentences(98, 313)


class TestGrades:
    def test_the_best_grade(self) -> None:
        said = grade_sentences(
            Standing.of(0, 890, 110), dog="Juno", grade="0", is_best=True, is_worst=False
        )

        assert said == [
            (
                "Of 100 other tested dogs of this breed, about 90 have grade 0, "
                "the best, like Juno. "
                "About 10 have a worse grade."
            )
        ]

    def test_a_grade_between(self) -> None:
        said = grade_sentences(
            Standing.of(20, 9, 1), dog="Juno", grade="B", is_best=False, is_worst=False
        )

        assert said == [
            (
                "Of the 30 other tested dogs of this breed, 20 have a better grade than Juno. "
                "9 have the same grade, B. 1 has a worse grade."
            )
        ]

    def test_the_worst_grade(self) -> None:
        said = grade_sentences(
            Standing.of(29, 0, 0), dog="Juno", grade="E", is_best=False, is_worst=True
        )

        assert said == [
            (
                "Of the 29 other tested dogs of this breed, none have grade E, "
                "the worst, like Juno. "
                "All have a better grade."
            )
        ]
