"""Between a value and its whole number of steps."""

from decimal import Decimal, localcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.scale import (
    ScaleProblem,
    exact_step,
    nearest_step,
    value_of,
    worse_of,
)

RESOLUTIONS = st.sampled_from([Decimal("0.01"), Decimal("0.5"), Decimal(1), Decimal("0.0001")])


@given(step=st.integers(-10_000, 10_000), resolution=RESOLUTIONS)
def test_a_step_comes_back_from_its_value(step: int, resolution: Decimal) -> None:
    assert exact_step(value_of(step, resolution), resolution) == step


@pytest.mark.parametrize(
    ("value", "resolution", "step"),
    [("0.344", "0.01", 34), ("0.345", "0.01", 35), ("104.7", "0.5", 209), ("104.75", "0.5", 210)],
)
def test_a_computed_value_goes_to_the_nearest_step(value: str, resolution: str, step: int) -> None:
    assert nearest_step(Decimal(value), Decimal(resolution)) == step


def test_a_value_finer_than_the_scale_is_refused_with_both_neighbours() -> None:
    with pytest.raises(ScaleProblem, match=r"Enter 0\.31 or 0\.32\.") as problem:
        exact_step(Decimal("0.317"), Decimal("0.01"))

    assert problem.value.code == "between_steps"


def test_trailing_zeros_are_not_finer() -> None:
    assert exact_step(Decimal("0.3100"), Decimal("0.01")) == 31


@pytest.mark.parametrize(
    ("value", "code"),
    [("NaN", "not_a_number"), ("Infinity", "not_a_number"), ("1e12", "too_large")],
)
def test_what_is_no_measure_is_refused(value: str, code: str) -> None:
    with pytest.raises(ScaleProblem) as problem:
        exact_step(Decimal(value), Decimal("0.01"))

    assert problem.value.code == code


@pytest.mark.parametrize("resolution", ["0", "-1", "NaN"])
def test_a_resolution_is_above_zero(resolution: str) -> None:
    with pytest.raises(ValueError, match="resolution"):
        nearest_step(Decimal(1), Decimal(resolution))


def test_a_callers_decimal_settings_do_not_move_a_dog() -> None:
    with localcontext() as context:
        context.prec = 2

        assert value_of(1234, Decimal("0.01")) == Decimal("12.34")
        assert exact_step(Decimal("12.34"), Decimal("0.01")) == 1234


def test_the_worse_side_speaks() -> None:
    assert worse_of(31, 35, "lower") == 35
    assert worse_of(31, 35, "higher") == 31
    assert worse_of(None, 35, "higher") == 35
    assert worse_of(31, None, "lower") == 31


def test_without_a_side_nothing_speaks() -> None:
    with pytest.raises(ValueError, match="neither side"):
        worse_of(None, None, "lower")
