"""Forecasts and selection ahead in sentences: the trait's own words, rounding, plain reading."""

from __future__ import annotations

import re

import pytest

from registry.science.litter import Circles, Forecast
from registry.science.mixed_model import Variances
from registry.science.selection import Generation, Plan, ahead
from registry.wording import breeding
from registry.wording.standings import TraitWords
from tests.web.buyer.reading import ari, coleman_liau, words

HIP = TraitWords("tighter", "looser", "hip")
ELBOW = TraitWords("smoother", "rougher", "elbow")
FORECAST = Forecast(
    mean=0.42,
    parent_variance=0.0012,
    mendelian_variance=0.0024,
    litter_variance=0.0004,
    residual_variance=0.0024,
    inbreeding=0.04,
    better="lower",
)


def value(number: float) -> str:
    return f"{number:.2f}"


def said(
    *, reliability: float = 0.7, middle: float = 0.4465, words_: TraitWords = HIP
) -> list[str]:
    return breeding.forecast_sentences(
        FORECAST,
        middle=middle,
        best=0.05,
        reliability=reliability,
        words=words_,
        value=value,
    )


def generations() -> tuple[Generation, ...]:
    return ahead(
        mean=0.6,
        variances=Variances(additive=0.006, litter=0.0, residual=0.004),
        better="lower",
        plan=Plan(males_tested=60, sires_kept=12, females_tested=60, dams_kept=30),
        generations=8,
        inbreeding=0.02,
    )


class TestReliability:
    @pytest.mark.parametrize(
        ("reliability", "known"),
        [
            (0.0, "hardly known"),
            (0.15, "little known"),
            (0.34, "little known"),
            (0.35, "fairly well known"),
            (0.6, "well known"),
            (1.0, "well known"),
        ],
    )
    def test_it_is_said_in_words(self, reliability: float, known: str) -> None:
        assert breeding.reliability_words(reliability) == known


class TestAForecast:
    def test_the_first_sentence_counts_puppies_of_a_hundred(self) -> None:
        # (0.4465 − 0.42) / 0.08 = 0.33125 standard deviations: 0.630 by the normal table.
        assert said()[0] == (
            "Of 100 puppies from this pair, about 63 are expected tighter than the breed's middle "
            "dog today."
        )

    @pytest.mark.parametrize(
        ("reliability", "count"), [(0.6, "about 63"), (0.4, "about 65"), (0.2, "about 60")]
    )
    def test_the_less_is_known_the_more_it_is_rounded(self, reliability: float, count: str) -> None:
        assert count in said(reliability=reliability)[0]

    def test_the_traits_own_words_are_used(self) -> None:
        text = " ".join(said(words_=ELBOW))

        assert "smoother" in text
        assert "tighter" not in text

    def test_the_range_of_puppies_is_said_in_the_traits_unit(self) -> None:
        # 0.42 ± 1.2816 · 0.08.
        assert said()[1] == "About 80 of 100 are expected between 0.32 and 0.52."

    def test_how_well_the_parents_are_known_is_said(self) -> None:
        assert said(reliability=0.2)[2] == "What these parents hand on is little known."

    def test_nothing_is_promised_where_the_middle_dog_has_the_best_value(self) -> None:
        assert said(middle=0.05)[0] == (
            "The breed's middle dog today has the best value there is. No puppy can be tighter."
        )

    def test_a_share_too_small_to_round_is_not_called_none(self) -> None:
        assert "fewer than 10 are" in said(middle=0.25, reliability=0.1)[0]
        assert "more than 99 are" in said(middle=0.8)[0]

    def test_the_litters_mean_is_said_apart_from_its_puppies(self) -> None:
        # ± 1.2816 · √0.0016.
        sentence = breeding.litter_mean_sentence(FORECAST, value=value)

        assert "between 0.37 and 0.47" in sentence

    def test_littermates_differ_by_their_own_spread(self) -> None:
        # √0.0048 = 0.069; beyond one standard deviation lie 32 of 100.
        assert "more than 0.07" in breeding.littermates_sentence(FORECAST, value=value)

    def test_circles_moved_onto_the_end_of_the_scale_are_owned_up_to(self) -> None:
        moved = Circles(steps=(5,) * 50, edge=30, at_lowest=2, at_highest=0)

        found = breeding.moved_onto_the_end(moved, lowest="0.05", highest="1.20")

        (sentence,) = found
        assert sentence == (
            "2 of the 50 circles stand at the end of the scale, 0.05. The forecast itself goes on "
            "beyond it."
        )

    def test_where_none_was_moved_nothing_is_said(self) -> None:
        stays = Circles(steps=(30,) * 50, edge=30, at_lowest=0, at_highest=0)

        assert breeding.moved_onto_the_end(stays, lowest="0.05", highest="1.20") == []


class TestInbreeding:
    def test_it_is_said_against_the_breeds_mean(self) -> None:
        assert breeding.inbreeding_sentences(0.0312, breed_mean=0.05) == [
            "The puppies' expected inbreeding is 3.1 of 100.",
            "That is below the mean of all dogs in the run, 5 of 100.",
        ]

    @pytest.mark.parametrize(
        ("expected", "word"), [(0.052, "about the mean of all"), (0.06, "above"), (0.04, "below")]
    )
    def test_a_difference_within_half_a_per_cent_is_called_none(
        self, expected: float, word: str
    ) -> None:
        assert word in breeding.inbreeding_sentences(expected, breed_mean=0.05)[-1]

    @pytest.mark.parametrize(
        ("expected", "mating"),
        [
            (0.25, "a brother and a sister"),
            (0.125, "a half brother and a half sister"),
            (0.0625, "two cousins"),
        ],
    )
    def test_close_matings_are_compared_with_known_ones(self, expected: float, mating: str) -> None:
        # Full sibs 1/4, half-sibs 1/8, first cousins 1/16: Wright (1922), Am Nat 56:330-338.
        assert mating in " ".join(breeding.inbreeding_sentences(expected, breed_mean=None))

    def test_an_ordinary_mating_is_compared_with_none(self) -> None:
        assert len(breeding.inbreeding_sentences(0.03, breed_mean=None)) == 1


class TestAhead:
    def test_what_it_brings_and_what_it_costs_stand_together(self) -> None:
        brings, today, costs = breeding.ahead_sentences(generations(), middle=0.6, words=HIP)

        assert brings == (
            "After 8 generations, more than 95 of 100 dogs would be tighter than the breed's "
            "middle dog today."
        )
        # The middle dog is at today's mean.
        assert today == "Of today's youngest puppies it is about 50."
        assert re.fullmatch(
            r"Inbreeding would go from 2 of 100 among the youngest puppies to "
            r"1\d(\.\d)?, or higher\.",
            costs,
        )


class TestCautions:
    def test_a_forecast_warns_of_all_that_can_hurt(self) -> None:
        text = " ".join(breeding.forecast_cautions())

        for warned in (
            "not a promise",
            "whole dog",
            "varied",
            "grows up",
            "not tested",
            "Ask a vet",
        ):
            assert warned in text

    def test_a_look_ahead_warns_of_one_trait_and_of_few_parents(self) -> None:
        text = " ".join(breeding.ahead_cautions())

        for warned in ("not a promise", "one trait", "Fewer parents", "narrower"):
            assert warned in text


@pytest.mark.parametrize(
    ("share", "precision", "text"),
    [
        (0.0, 1, "none"),
        (1.0, 10, "all"),
        (0.004, 1, "fewer than 1"),
        (0.03, 10, "fewer than 10"),
        (0.05, 10, "fewer than 10"),
        (0.97, 5, "about 95"),
        (0.98, 5, "more than 95"),
        (0.634, 1, "about 63"),
    ],
)
def test_of_a_hundred_only_nothing_is_none_and_only_everything_is_all(
    share: float, precision: int, text: str
) -> None:
    assert breeding.of_100(share, precision) == text


def test_everything_reads_at_grade_eight_or_below() -> None:
    groups = [
        said(),
        said(middle=0.05),
        [
            breeding.litter_mean_sentence(FORECAST, value=value),
            breeding.littermates_sentence(FORECAST, value=value),
        ],
        breeding.moved_onto_the_end(Circles((5,) * 50, 30, 2, 3), lowest="0.05", highest="1.20"),
        breeding.inbreeding_sentences(0.13, breed_mean=0.05),
        breeding.forecast_cautions(),
        breeding.ahead_sentences(generations(), middle=0.6, words=HIP),
        breeding.ahead_cautions(),
    ]
    found = [
        part for group in groups for text in group for part in re.split(r"(?<=[.])\s+(?=\S)", text)
    ]

    assert len(found) > 20
    assert max(len(words(sentence)) for sentence in found) <= 20
    assert ari(found) <= 8
    assert coleman_liau(found) <= 8
