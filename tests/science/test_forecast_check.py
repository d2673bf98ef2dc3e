"""Forecasts held against records: right ones pass, and what is wrong with the others is seen."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from registry.science.breeding_values import breeding_values
from registry.science.forecast_check import (
    FEWEST_LITTERS,
    FEWEST_PUPPIES,
    Check,
    Estimate,
    Later,
    against_later,
    check,
)
from registry.science.litter import forecast
from registry.science.mixed_model import Records, Variances
from tests.science import simulated

Numbers = NDArray[np.float64]
Whole = NDArray[np.int64]

VARIANCES = Variances(additive=0.45, litter=0.1, residual=0.45)
TRUTH = simulated.Truth.of(0.45, 0.1, 0.45)
YEARS = (7, 8, 9)


@dataclass(frozen=True)
class Compared:
    """What was said of some puppies, and what came; (n,) each."""

    mean: Numbers
    sd: Numbers
    record: Numbers
    litter: Whole
    year: Whole
    early: Numbers
    later: Numbers

    def of(self, chosen: NDArray[np.bool_]) -> Compared:
        return Compared(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))

    def check(self) -> Check:
        found = check(self.mean, self.sd, self.record, self.litter, self.year)
        assert found is not None
        return found

    def against_later(self) -> Later:
        found = against_later(self.early, self.later, self.litter)
        assert found is not None
        return found


@cache
def litters_of_three_years(breeds: int = 16) -> Compared:
    """Each year's litters, forecast from the records of the years before."""
    parts: list[list[NDArray[Any]]] = []
    for seed in range(breeds):
        breed = simulated.breed(TRUTH, seed=100 + seed, years=max(YEARS))
        records = breed.records(tested=0.7, seed=seed)
        last = breeding_values(breed.pedigree, breed.inbreeding, records, VARIANCES)
        for year in YEARS:
            earlier = _born_before(records, breed.born, year)
            solution = breeding_values(breed.pedigree, breed.inbreeding, earlier, VARIANCES)
            puppies = np.flatnonzero(breed.born == year)
            sire, dam = breed.pedigree.sire[puppies], breed.pedigree.dam[puppies]
            said = [
                forecast(
                    sire_value=solution.value[one],
                    dam_value=solution.value[other],
                    sire_error_variance=solution.error_variance[one],
                    dam_error_variance=solution.error_variance[other],
                    sire_inbreeding=breed.inbreeding[one],
                    dam_inbreeding=breed.inbreeding[other],
                    kinship=breed.inbreeding[puppy],
                    variances=VARIANCES,
                    # Puppies are examined here in conditions of no effect.
                    base=0.0,
                    better="lower",
                )
                for puppy, one, other in zip(puppies, sire, dam, strict=True)
            ]
            mean = np.array([each.mean for each in said])
            sd = np.array([each.sd for each in said])
            litter = 1000 * seed + breed.litter[puppies]
            born = np.full(len(puppies), 100 * seed + year)
            record = breed.phenotype[puppies, 0]
            parts.append([mean, sd, record, litter, born, mean, last.value[puppies]])
    return Compared(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _born_before(records: Records, born: Whole, year: int) -> Records:
    is_earlier = born[records.dog] < year
    return Records(
        dog=records.dog[is_earlier],
        value=records.value[is_earlier],
        fixed={
            name: np.unique(codes[is_earlier], return_inverse=True)[1]
            for name, codes in records.fixed.items()
        },
        age=records.age[is_earlier],
        litter=records.litter[is_earlier],
    )


def holds(estimate: Estimate | None, value: float) -> bool:
    assert estimate is not None
    return not estimate.leaves_out(value)


class TestWhereTheModelHolds:
    def test_the_slope_is_1_within_its_interval(self) -> None:
        found = litters_of_three_years().check()

        assert found.puppies > 3000
        assert holds(found.slope, 1)
        assert found.slope is not None
        assert found.slope.high - found.slope.low < 0.5

    def test_80_of_100_puppies_come_within_their_range(self) -> None:
        found = litters_of_three_years().check()

        assert holds(found.inside, 0.8)
        assert found.inside.high - found.inside.low < 0.06

    def test_there_is_no_lean(self) -> None:
        assert abs(litters_of_three_years().check().lean.value) < 0.06

    def test_each_fifth_of_the_forecasts_holds_a_fifth_of_the_puppies(self) -> None:
        found = litters_of_three_years().check()

        assert sum(found.parts) == found.puppies
        for dogs in found.parts:
            assert dogs / found.puppies == pytest.approx(0.2, abs=0.03)

    def test_early_values_agree_with_later_ones(self) -> None:
        found = litters_of_three_years().against_later()

        assert holds(found.slope, 1)
        assert 0.4 < found.ratio.low < found.ratio.high < 0.9

    def test_95_of_100_intervals_hold_the_truth(self) -> None:
        """In small breeds of which each has about 45 litters."""
        whole = litters_of_three_years(40)
        breed = whole.litter // 1000
        each = [whole.of(breed == number).check() for number in range(40)]

        held = [holds(found.slope, 1) for found in each] + [
            holds(found.inside, 0.8) for found in each
        ]
        assert np.mean(held) >= 0.87


class TestWhereItDoesNot:
    def test_bad_results_that_are_not_sent_in_any_more_make_forecasts_look_too_gloomy(
        self,
    ) -> None:
        """From one year on, 60 of 100 of the worst 30 of 100 stay away."""
        whole = litters_of_three_years()
        is_bad = whole.record > np.quantile(whole.record, 0.7)
        stays_away = is_bad & (np.random.default_rng(1).random(len(is_bad)) < 0.6)

        found = whole.of(~stays_away).check()

        assert found.lean.high < -0.1
        assert found.parts[0] > found.parts[-1]

    def test_forecasts_that_differ_twice_too_much_have_a_slope_of_a_half(self) -> None:
        whole = litters_of_three_years()

        found = check(2 * whole.mean, whole.sd, whole.record, whole.litter, whole.year)

        assert found is not None
        assert holds(found.slope, 0.5)
        assert found.slope is not None
        assert found.slope.leaves_out(1)

    def test_ranges_that_are_too_narrow_hold_too_few(self) -> None:
        whole = litters_of_three_years()

        found = check(whole.mean, 0.7 * whole.sd, whole.record, whole.litter, whole.year)

        assert found is not None
        assert found.inside.high < 0.7

    def test_a_year_that_was_bad_for_all_is_lean_and_no_slope(self) -> None:
        whole = litters_of_three_years()
        worse = np.where(whole.year % 100 == YEARS[-1], 0.5, 0.0)

        found = check(whole.mean, whole.sd, whole.record + worse, whole.litter, whole.year)

        assert found is not None
        before = whole.check().slope
        assert found.slope is not None
        assert before is not None
        assert found.slope.value == pytest.approx(before.value)
        assert found.lean.low > 0.05

    def test_early_values_that_promised_too_much_are_seen(self) -> None:
        whole = litters_of_three_years()

        found = against_later(2 * whole.early + 0.3, whole.later, whole.litter)

        assert found is not None
        assert found.slope.high < 0.8
        assert found.lean.low > 0.2


class TestTheArithmetic:
    def test_by_hand(self) -> None:
        """Twenty litters of two: mates 1 above and 1 below a line of slope ½ through 10."""
        litter = np.repeat(np.arange(20), 2)
        mean = 10.0 + np.repeat(np.tile([-1.0, 1.0], 10), 2)
        record = 10 + (mean - 10) / 2 + np.tile([-1.0, 1.0], 20)

        found = check(mean, np.full(40, 0.5), record, litter, np.zeros(40, dtype=np.int64))

        assert found is not None
        assert (found.puppies, found.litters) == (40, 20)
        assert found.slope is not None
        assert found.slope.value == pytest.approx(0.5)
        assert found.lean.value == pytest.approx(0)
        # ½ away from the forecast, one standard deviation, is within 1.28 of them; 1½ is not. The
        # outer fifths begin at 0.84 of them.
        assert found.inside.value == pytest.approx(0.5)
        assert found.parts == (20, 0, 0, 0, 20)

    def test_littermates_that_are_alike_are_worth_fewer_puppies(self) -> None:
        random = np.random.default_rng(3)
        apart = random.normal(size=100)
        alike, own = np.repeat(apart, 6), random.normal(size=600)
        litter, year = np.repeat(np.arange(100), 6), np.zeros(600, dtype=np.int64)
        mean = np.repeat(random.normal(size=100), 6)

        widths = []
        for record in (mean + alike, mean + own):
            found = check(mean, np.ones(600), record, litter, year)
            assert found is not None
            widths.append(found.inside.high - found.inside.low)

        assert widths[0] > 1.8 * widths[1]

    def test_equal_forecasts_have_no_slope(self) -> None:
        random = np.random.default_rng(3)
        litter, year = np.repeat(np.arange(30), 3), np.repeat([2020, 2021, 2022], 30)

        found = check(np.full(90, 0.44), np.ones(90), random.normal(size=90), litter, year)

        assert found is not None
        assert found.slope is None

    @pytest.mark.parametrize(
        ("litters", "each"),
        [(FEWEST_LITTERS - 1, 5), (FEWEST_LITTERS, (FEWEST_PUPPIES // FEWEST_LITTERS) - 1)],
    )
    def test_too_few_say_nothing(self, litters: int, each: int) -> None:
        n = litters * each
        litter, values = np.repeat(np.arange(litters), each), np.arange(n) / n

        assert check(values, values + 1, values, litter, np.zeros(n, dtype=np.int64)) is None
        assert against_later(values, values**2, litter) is None

    def test_none_at_all_say_nothing(self) -> None:
        empty = np.empty(0)
        codes = np.empty(0, dtype=np.int64)

        assert check(empty, empty, empty, codes, codes) is None
