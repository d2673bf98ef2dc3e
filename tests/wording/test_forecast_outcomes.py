"""How forecasts turned out, in words: which way they leaned, and what can not be told."""

from __future__ import annotations

import pytest

from registry.science.forecast_check import Estimate
from registry.science.scale import Better
from registry.wording.forecast_outcomes import (
    lean_words,
    pair_words,
    range_words,
    slope_words,
    too_few_words,
)
from registry.wording.standings import TraitWords

WORDS = TraitWords("tighter", "looser", "hip")
NOT_CLEAR = "On the whole, forecasts were not clearly too hopeful or too gloomy."
OLD = "Old forecasts, made from fewer results, count in this too."
HOPEFUL = "Forecasts were too hopeful: on the whole, puppies came out looser by 0.012."
GLOOMY = "Forecasts were too gloomy: on the whole, puppies came out tighter by 0.012."


@pytest.mark.parametrize(
    ("puppies", "litters", "said"),
    [
        (1, 1, "Too few to tell yet: 1 puppy with a forecast and a result, of 1 litter."),
        (39, 8, "Too few to tell yet: 39 puppies with a forecast and a result, of 8 litters."),
        (
            1204,
            19,
            "Too few to tell yet: 1,204 puppies with a forecast and a result, of 19 litters.",
        ),
    ],
)
def test_too_few_says_of_how_many(puppies: int, litters: int, said: str) -> None:
    assert too_few_words(puppies, litters) == said


@pytest.mark.parametrize(
    ("lean", "better", "said"),
    [
        ((0.012, 0.004, 0.02), "lower", HOPEFUL),
        ((-0.012, -0.02, -0.004), "lower", GLOOMY),
        ((-0.012, -0.02, -0.004), "higher", HOPEFUL),
        ((0.012, 0.004, 0.02), "higher", GLOOMY),
        ((0.012, -0.004, 0.028), "lower", NOT_CLEAR),
        ((0.012, 0.0, 0.024), "lower", NOT_CLEAR),
        # Sure, and too small to write.
        ((0.0003, 0.0001, 0.0005), "lower", NOT_CLEAR),
    ],
)
def test_a_lean_is_told_towards_the_traits_own_ends(
    lean: tuple[float, float, float], better: Better, said: str
) -> None:
    told = lean_words(Estimate(*lean), better=better, words=WORDS, amount="{:.3f}".format)

    assert told == said


@pytest.mark.parametrize(
    ("inside", "is_off", "last"),
    [
        ((0.73, 0.67, 0.79), True, f"So the ranges were too narrow. {OLD}"),
        ((0.88, 0.84, 0.92), True, f"So the ranges were wider than they need be. {OLD}"),
        ((0.78, 0.72, 0.83), False, "Of 100, 78 came out inside their range. It should hold 80."),
    ],
)
def test_a_range_that_does_not_hold_what_it_should_is_called_so(
    inside: tuple[float, float, float], is_off: bool, last: str
) -> None:
    told = range_words(Estimate(*inside), 1312, is_off=is_off)

    assert told[0] == "1,312 puppies were forecast early and have been tested since."
    assert " ".join(told).endswith(f". {last}")


@pytest.mark.parametrize(
    ("slope", "said"),
    [
        ((1.07, 0.64, 1.51), "Forecasts told better litters from worse ones."),
        (
            (0.5, 0.2, 0.8),
            "Forecasts told better litters from worse ones, but made too much of it.",
        ),
        (
            (1.6, 1.2, 2.0),
            "Forecasts told better litters from worse ones, but made too little of it.",
        ),
        ((0.1, -0.3, 0.5), "Forecasts did not tell better litters from worse ones."),
        (
            (0.7, -0.4, 1.8),
            "It can not be told yet if forecasts tell better litters from worse ones.",
        ),
        (None, ""),
    ],
)
def test_what_a_slope_means(slope: tuple[float, float, float] | None, said: str) -> None:
    assert slope_words(slope and Estimate(*slope)) == said


class TestBesideAPair:
    def test_what_was_as_it_should_be_is_not_told(self) -> None:
        assert pair_words(None, None) == []

    @pytest.mark.parametrize(("slope", "word"), [(0.5, "less"), (-0.1, "less"), (1.5, "more")])
    def test_what_was_not_is_a_sentence_each(self, slope: float, word: str) -> None:
        found = pair_words(Estimate(0.73, 0.67, 0.79), Estimate(slope, slope, slope))

        inside = "So far, 73 of 100 of this breed's tested puppies came out inside such a range"
        assert found == [
            f"{inside}, not 80.",
            OLD,
            f"So far, this breed's litters differed {word} than was forecast.",
        ]
