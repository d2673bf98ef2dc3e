"""Quantiles of a histogram are those of type 7 of Hyndman & Fan."""

import pytest

from registry.science.distribution import Histogram
from tests.published.cases import topic

CASE = topic("distribution")["hyndman-fan"]
SHARES = sorted(CASE["expected"]["quantiles"])


@pytest.mark.parametrize("share", SHARES)
def test_a_quantile_is_of_type_7(share: str) -> None:
    # Hyndman & Fan (1996), Am Stat 50:361-365 (definitions); numbers reproduced with numpy.
    expected = CASE["expected"]["quantiles"][share]

    quantile = Histogram.of_steps(CASE["inputs"]["x"]).quantile(float(share))

    assert quantile == pytest.approx(expected["type7"], abs=1e-6)


def test_the_values_tell_type_7_from_every_other_type() -> None:
    # Guards the test above: a check that all nine types pass would prove nothing.
    quantiles = CASE["expected"]["quantiles"].values()

    for other in (1, 2, 3, 4, 5, 6, 8, 9):
        assert any(abs(row["type7"] - row[f"type{other}"]) > 1e-3 for row in quantiles)
