"""The middle dog elsewhere: between steps, moved by clinics, and not by chance."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest

from registry.science.distribution import Histogram
from registry.science.middles import (
    ClinicEffect,
    middle_by_clinic,
    middle_step,
    newer_middle,
    place_of_100,
)


def _evenly(low: int, high: int) -> Histogram:
    """Ten dogs at each step from low to high."""
    return Histogram.of_counts((step, 10) for step in range(low, high + 1))


def _clinics(*effects: float, error: float = 0.001, records: int = 100) -> list[ClinicEffect]:
    return [ClinicEffect(at, records, effect, error) for at, effect in enumerate(effects)]


class TestPlace:
    def test_the_middle_dog_stands_at_fifty_of_any_counts(self) -> None:
        for counts in (
            _evenly(1, 10),
            Histogram.of_steps([3, 3, 3, 9]),
            Histogram.of_steps([1, 9]),
            Histogram.of_counts([(5, 1), (6, 97), (7, 2)]),
        ):
            assert place_of_100(counts, middle_step(counts), "lower") == pytest.approx(50)

    def test_the_better_end_turns_the_place_around(self) -> None:
        counts = _evenly(1, 10)

        assert place_of_100(counts, 3.0, "lower") == pytest.approx(25)
        assert place_of_100(counts, 3.0, "higher") == pytest.approx(75)

    def test_outside_of_all_dogs_it_is_none_or_all(self) -> None:
        assert place_of_100(_evenly(1, 10), -40.0, "lower") == 0
        assert place_of_100(_evenly(1, 10), 40.0, "lower") == 100


class TestClinics:
    def test_a_difference_of_a_tenth_of_the_dogs_is_told(self) -> None:
        # Of 100 steps with ten dogs each, ten steps (0.10) are ten of 100 dogs.
        told = middle_by_clinic(_evenly(1, 100), _clinics(-0.10, 0.10), 0.01, "lower")

        assert told == (40, 60)

    def test_five_of_a_hundred_is_not_told(self) -> None:
        effects = _clinics(-0.05, 0.05, error=1e-9)

        assert middle_by_clinic(_evenly(1, 100), effects, 0.01, "lower") is None

    def test_a_difference_within_chance_is_not_told(self) -> None:
        effects = _clinics(-0.10, 0.10, error=0.06)

        assert middle_by_clinic(_evenly(1, 100), effects, 0.01, "lower") is None

    def test_a_clinic_of_few_records_is_not_heard(self) -> None:
        effects = [*_clinics(0.001, -0.001), ClinicEffect(9, 19, 0.2, 0.001)]

        assert middle_by_clinic(_evenly(1, 100), effects, 0.01, "lower") is None

    def test_too_few_dogs_are_not_compared(self) -> None:
        counts = Histogram.of_steps(range(19))

        assert middle_by_clinic(counts, _clinics(-5.0, 5.0), 1.0, "lower") is None

    def test_what_is_less_sure_is_drawn_to_the_middle(self) -> None:
        sure = middle_by_clinic(_evenly(1, 100), _clinics(-0.2, 0.2), 0.01, "lower")
        unsure = middle_by_clinic(_evenly(1, 100), _clinics(-0.2, 0.2, error=0.08), 0.01, "lower")

        assert sure == (30, 70)
        assert unsure == (35, 65)

    def test_chance_alone_is_told_of_in_at_most_one_breed_of_twenty(self) -> None:
        rng = np.random.default_rng(20261201)
        counts = _evenly(1, 100)
        error = 0.06
        told = 0
        for _ in range(2000):
            drawn = rng.normal(0.0, error, 8)
            found = _clinics(*(drawn - drawn.mean()), error=error * (7 / 8) ** 0.5)
            told += middle_by_clinic(counts, found, 0.01, "lower") is not None

        assert told / 2000 <= 0.055

    def test_the_widest_places_are_not_overstated(self) -> None:
        """Eight clinics whose true differences have the spread of 10 of 100 dogs."""
        rng = np.random.default_rng(7)
        counts = _evenly(1, 100)
        said, true = [], []
        for _ in range(500):
            truth = rng.normal(0.0, 0.10, 8)
            found = truth + rng.normal(0.0, 0.05, 8)
            told = middle_by_clinic(counts, _clinics(*found, error=0.05), 0.01, "lower")
            if told is not None:
                said.append(told[1] - told[0])
                at = (int(np.argmin(found)), int(np.argmax(found)))
                true.append(100 * (truth[at[1]] - truth[at[0]]))

        assert np.mean(said) == pytest.approx(np.mean(true), rel=0.07)

    def test_an_interval_of_95_of_100_reaches_so_far(self) -> None:
        low, high = ClinicEffect(1, 30, 0.5, 0.1).interval()

        z = NormalDist().inv_cdf(0.975)
        assert (low, high) == pytest.approx((0.5 - 0.1 * z, 0.5 + 0.1 * z))


class TestNewer:
    def test_tighter_newer_dogs_are_told_of(self) -> None:
        # Old dogs at 51 to 150, as many new ones at 1 to 100: of all, the middle new dog
        # has 500 new ones and no old one before it: 500 of 2,000.
        new, old = _evenly(1, 100), _evenly(51, 150)

        assert newer_middle(new.merge(old), new, "lower") == 25

    def test_with_the_better_end_above_they_are_worse(self) -> None:
        new, old = _evenly(1, 100), _evenly(51, 150)

        assert newer_middle(new.merge(old), new, "higher") == 75

    def test_the_same_dogs_are_not_told_of(self) -> None:
        assert newer_middle(_evenly(1, 100), _evenly(1, 100), "lower") is None

    def test_a_difference_within_chance_is_not_told_of(self) -> None:
        # The middle of 24 new dogs stands at 40, but 14 of 24 is no more than chance.
        new = Histogram.of_steps([*range(20, 34), *range(60, 70)])
        whole = _evenly(1, 100).merge(new)

        assert place_of_100(whole, middle_step(new), "lower") < 45
        assert newer_middle(whole, new, "lower") is None

    def test_a_sure_difference_of_less_than_five_is_not_told_of(self) -> None:
        new = Histogram.of_counts((step, 100) for step in range(1, 101))
        old = Histogram.of_counts((step, 100) for step in range(8, 108))

        assert newer_middle(new.merge(old), new, "lower") is None

    def test_nineteen_newer_dogs_are_too_few(self) -> None:
        new = Histogram.of_steps([1] * 19)

        assert newer_middle(_evenly(1, 100).merge(new), new, "lower") is None

    def test_chance_alone_is_told_of_in_at_most_one_breed_of_twenty(self) -> None:
        rng = np.random.default_rng(11)
        told = 0
        for _ in range(600):
            steps = np.round(rng.normal(50, 15, 200)).astype(int)
            whole, new = Histogram.of_steps(steps.tolist()), Histogram.of_steps(steps[:60].tolist())
            told += newer_middle(whole, new, "lower") is not None

        assert told / 600 <= 0.055
