"""A second examination of a dog lies where the interval beside its standing said it would."""

from __future__ import annotations

import math

import numpy as np
import pytest

from registry.science.distribution import Histogram
from registry.science.measuring_error import within_dog_sd
from registry.science.scale import Better
from registry.science.standing import joined, others, second_exam, spoken, standing

_SPREAD = 10.0


@pytest.mark.parametrize("better", ["lower", "higher"])
@pytest.mark.parametrize("icc", [0.95, 0.85, 0.70])
def test_the_second_standing_lies_inside(icc: float, better: Better) -> None:
    # Each side is read with an error of its own, and the worse side speaks. The error is known from
    # 60 other dogs examined twice.
    chance = np.random.default_rng(round(100 * icc))
    error = _SPREAD * math.sqrt(1 - icc)
    worst = np.max if better == "lower" else np.min

    def exams(dogs: int, times: int) -> list[list[int]]:
        hips = chance.normal(50, _SPREAD * math.sqrt(icc), dogs)
        sides = hips[:, None] + chance.normal(0, 0.3 * _SPREAD, (dogs, 2))
        read = sides[:, None, :] + chance.normal(0, error, (dogs, times, 2))
        found: list[list[int]] = worst(read.round().astype(int), axis=2).tolist()
        return found

    inside = said_inside = 0
    for _breed in range(5):
        sd = within_dog_sd(exams(60, 2))
        dogs = exams(300, 2)
        breed = Histogram.of_steps([first for first, _second in dogs])
        for first, second in dogs:
            among = others(breed, first, own_is_inside=True)
            place, again = standing(among, first, better), standing(among, second, better)
            span = second_exam(among, first, better, sd_steps=sd)
            low, high = joined(place, span)
            inside += low <= again.better / again.n <= high
            words = spoken(place, span)
            assert words is not None
            assert words.low is not None
            assert words.high is not None
            said_inside += words.low <= 100 * again.better / again.n <= words.high

    assert inside >= 0.93 * 1500
    assert said_inside >= inside


def test_a_change_from_the_first_to_the_second_is_part_of_it() -> None:
    # Each second value is 2 above the first: the root of 2² ÷ 2.
    assert within_dog_sd([(1, 3), (5, 7), (9, 11)]) == pytest.approx(math.sqrt(2))


def test_nobody_examined_twice_has_none() -> None:
    with pytest.raises(ValueError, match="two values"):
        within_dog_sd([])
