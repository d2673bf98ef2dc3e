"""Intervals of shares, differences and medians, against papers and a second library."""

import pytest
from scipy.stats import binom
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from registry.science.intervals import newcombe_difference, wilson
from registry.science.median import median_ranks
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


def test_the_difference_of_two_shares_is_the_published_one() -> None:
    # Newcombe (1998), Stat Med 17:873-890, Table II, case a, method 10; printed values from memory,
    # reproduced with statsmodels.
    case = CASES["newcombe-difference-56-70"]

    interval = newcombe_difference(**case["inputs"])

    assert interval == pytest.approx(tuple(case["expected"]["interval"]), abs=5e-5)


@pytest.mark.parametrize("counts", [(0, 30, 5, 40), (9, 10, 3, 10), (170, 200, 900, 1700)])
def test_differences_agree_with_statsmodels(counts: tuple[int, int, int, int]) -> None:
    expected = confint_proportions_2indep(*counts, method="newcomb", compare="diff")

    assert newcombe_difference(*counts) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("n", CASES["order-stat-median"]["inputs"]["n"])
def test_the_ranks_around_the_median_are_the_published_ones(n: int) -> None:
    # Conover (1999), Practical Nonparametric Statistics, ch. 3. Reproduced with scipy.
    low, high, coverage = CASES["order-stat-median"]["expected"]["ranks_coverage"][str(n)]

    assert median_ranks(n) == (low, high)
    assert binom.cdf(high - 1, n, 0.5) - binom.cdf(low - 1, n, 0.5) == pytest.approx(
        coverage, abs=1e-6
    )


@pytest.mark.parametrize("n", [1, 2, 3, 4, 5])
def test_five_dogs_have_no_interval_of_the_median(n: int) -> None:
    # The same source: with five or fewer no pair of ranks holds 95 %.
    assert median_ranks(n) is None


@pytest.mark.parametrize("n", [1_074, 1_075, 5_000, 170_000])
def test_large_breeds_agree_with_the_binomial_distribution_of_scipy(n: int) -> None:
    rank = int(binom.ppf(0.025, n, 0.5))

    assert median_ranks(n) == (rank, n + 1 - rank)
