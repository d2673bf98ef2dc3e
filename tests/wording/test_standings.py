"""A standing in sentences: rounded by the number of dogs, complete without a picture."""

from __future__ import annotations

import pytest

from registry.science.distribution import Histogram
from registry.science.standing import standing
from registry.wording.standings import TraitWords, short_standing, standing_sentences

WORDS = TraitWords("tighter", "looser", "hip")


def _sentences(better: int, worse: int) -> list[str]:
    counts = Histogram.of_counts([(1, better), (2, 1), (3, worse)])
    return standing_sentences(standing(counts, 2, "lower"), dog="Juno", words=WORDS)


def test_the_first_words_say_how_many_of_a_hundred() -> None:
    assert _sentences(98, 313)[0] == (
        "Of 100 tested dogs of this breed, about 24 have a tighter hip than Juno. "
        "About 76 have a looser one."
    )


@pytest.mark.parametrize(
    ("better", "worse", "said"),
    [(7, 22, "about 20 have"), (24, 75, "about 25 have"), (240, 759, "about 24 have")],
)
def test_fewer_dogs_are_rounded_more(better: int, worse: int, said: str) -> None:
    assert said in _sentences(better, worse)[0]


def test_how_sure_it_is_is_said_in_numbers() -> None:
    assert any("could be" in sentence and "of 100" in sentence for sentence in _sentences(7, 22))


def test_nobody_better_and_a_few_are_told_apart() -> None:
    assert "none have" in _sentences(0, 40)[0]
    assert "fewer than 10 have" in _sentences(1, 40)[0]


def test_below_twenty_dogs_nothing_is_compared() -> None:
    assert _sentences(3, 4) == ["Too few tested dogs (8) to compare."]


def test_the_short_form_says_the_same() -> None:
    place = standing(Histogram.of_counts([(1, 98), (2, 1), (3, 313)]), 2, "lower")

    assert short_standing(place, words=WORDS) == "About 24 of 100 tighter, about 76 of 100 looser"


def test_which_end_is_better_is_said() -> None:
    assert "Tighter is better." in _sentences(98, 313)
