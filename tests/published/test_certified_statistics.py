"""Means and standard deviations against the certified values of NIST."""

from decimal import Decimal
from typing import Any

import pytest

from registry.science.distribution import Histogram
from registry.science.scale import exact_step
from tests.published.cases import topic

CASES = topic("distribution")
RESOLUTIONS = {
    "nist-lottery": "1",
    "nist-lew": "1",
    "nist-michelso": "0.01",
    "nist-numacc1": "1",
    "nist-numacc2": "0.1",
}


def values_of(case: dict[str, Any]) -> list[str]:
    if case["id"] == "nist-numacc2":
        # As published: 1.2 once, then 1.1 and 1.3 alternately, 1001 values.
        return ["1.2"] + ["1.1", "1.3"] * 500
    return [str(value) for value in case["inputs"]["values"]]


@pytest.mark.parametrize(("case_id", "resolution"), RESOLUTIONS.items())
def test_mean_and_sd_are_the_certified_ones(case_id: str, resolution: str) -> None:
    # NIST Statistical Reference Datasets, univariate summary statistics; confirmed.
    case, unit = CASES[case_id], Decimal(resolution)

    histogram = Histogram.of_steps(exact_step(Decimal(text), unit) for text in values_of(case))

    assert histogram.n == case["expected"]["n"]
    assert histogram.mean(unit) == pytest.approx(case["expected"]["mean"], rel=1e-12, abs=0)
    assert histogram.sd(unit) == pytest.approx(case["expected"]["sd"], rel=1e-12, abs=0)
