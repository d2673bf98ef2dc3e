"""How ties count in a standing, against the four conventions of scipy."""

import pytest
from scipy.stats import percentileofscore

from registry.science.distribution import Histogram
from registry.science.standing import standing
from tests.published.cases import topic

CASE = topic("distribution")["percentile-ties"]
# Every value twice: percentages stay as they are, and 20 dogs are enough to compare.
STEPS = [round(100 * value) for value in CASE["inputs"]["data"]] * 2


@pytest.mark.parametrize("score", CASE["inputs"]["scores"])
def test_better_and_equal_are_the_strict_and_weak_ranks(score: float) -> None:
    # Definitions of scipy.stats.percentileofscore; reproduced. Lower is better here, so the share
    # runs in the direction of the percentile.
    ranks = CASE["expected"]["ranks"][str(score)]

    place = standing(Histogram.of_steps(STEPS), round(100 * score), "lower")

    assert 100 * place.better / place.n == pytest.approx(ranks["strict"], abs=1e-9)
    assert 100 * (place.better + place.equal) / place.n == pytest.approx(ranks["weak"], abs=1e-9)


@pytest.mark.parametrize("score", CASE["inputs"]["scores"])
def test_the_share_is_the_mean_rank(score: float) -> None:
    ranks = CASE["expected"]["ranks"][str(score)]

    place = standing(Histogram.of_steps(STEPS), round(100 * score), "lower")

    assert place.share is not None
    assert 100 * place.share == pytest.approx(ranks["mean"], abs=1e-9)


@pytest.mark.parametrize("step", [28, 35, 45, 52, 70])
def test_where_higher_is_better_the_share_is_the_rank_from_the_other_end(step: int) -> None:
    place = standing(Histogram.of_steps(STEPS), step, "higher")

    assert place.share is not None
    assert 100 * (1 - place.share) == pytest.approx(percentileofscore(STEPS, step, kind="mean"))
