"""Intervals of shares, against a paper and a second library."""

import pytest
from statsmodels.stats.proportion import proportion_confint

from registry.science.intervals import wilson
from tests.published.cases import topic

CASES = topic("distribution")


@pytest.mark.parametrize("case_id", ["newcombe-81-263", "newcombe-15-148", "newcombe-0-20"])
def test_the_wilson_interval_is_the_published_one(case_id: str) -> None:
    # Newcombe (1998), Stat Med 17:857-872, Table I. Reproduced with statsmodels.
    case = CASES[case_id]

    interval = wilson(case["inputs"]["r"], case["inputs"]["n"])

    assert interval == pytest.approx(tuple(case["expected"]["wilson"]), abs=5e-5)


def test_nobody_and_everybody_reach_the_end_exactly() -> None:
    # Newcombe (1998), Table I, 0 of 20: the lower limit must be exactly 0. Its mirror image is 1.
    assert wilson(0, 20)[0] == 0.0
    assert wilson(20, 20)[1] == 1.0


@pytest.mark.parametrize("n", [20, 30, 50, 100, 200, 400, 1000])
def test_the_width_of_about_a_quarter_by_number_of_dogs(n: int) -> None:
    # Computed with statsmodels, in whole percent; reproduced.
    case = CASES["wilson-24-percent"]

    low, high = wilson(case["inputs"]["counts"][str(n)], n)

    assert [round(100 * low), round(100 * high)] == case["expected"]["percent"][str(n)]


@pytest.mark.parametrize("count", [0, 0.5, 1, 12.5, 99.5, 170])
def test_halves_give_the_interval_of_statsmodels(count: float) -> None:
    # A second opinion: half of an equal dog is not in the paper's tables.
    expected = proportion_confint(count, 170, method="wilson")

    assert wilson(count, 170) == pytest.approx(expected, abs=1e-12)
