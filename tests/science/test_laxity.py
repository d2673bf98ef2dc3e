"""Hip laxity and the Norberg angle: rounding, limits, and what does not change them."""

import math
from decimal import Decimal, localcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.circles import index_from_outlines
from registry.science.laxity import (
    MeasurementProblem,
    index_from,
    index_from_centres,
    index_step,
    norberg_angle_deg,
)

HUNDREDTH = Decimal("0.01")
COORDINATES = st.floats(-500, 500).map(lambda number: round(number, 3))
POINTS = st.tuples(COORDINATES, COORDINATES)


def test_the_index_keeps_its_digits_until_it_is_rounded_once() -> None:
    index = index_from(Decimal("11.2"), Decimal("3.9"))

    assert str(index).startswith("0.348214285714")
    assert index_step(Decimal("11.2"), Decimal("3.9"), HUNDREDTH) == 35


def test_no_displacement_is_an_index_of_zero() -> None:
    assert index_from(Decimal("11.2"), Decimal(0)) == 0


def test_a_callers_decimal_settings_do_not_change_the_index() -> None:
    with localcontext() as context:
        context.prec = 1

        assert index_step(Decimal("11.2"), Decimal("3.9"), HUNDREDTH) == 35


@pytest.mark.parametrize(
    ("radius", "displacement", "code"),
    [
        ("0", "3.9", "radius"),
        ("-11.2", "3.9", "radius"),
        ("NaN", "3.9", "radius"),
        ("Infinity", "3.9", "radius"),
        ("11.2", "-0.1", "displacement"),
        ("11.2", "NaN", "displacement"),
        ("11.2", "22.5", "impossible"),
        ("1.12", "3.9", "impossible"),
    ],
)
def test_impossible_lengths_are_refused(radius: str, displacement: str, code: str) -> None:
    with pytest.raises(MeasurementProblem) as problem:
        index_from(Decimal(radius), Decimal(displacement))

    assert problem.value.code == code


def test_the_unit_of_the_points_cancels() -> None:
    in_mm = index_from_centres((10, 10), (13, 14), 10)
    in_pixels = index_from_centres((70, 70), (91, 98), 70)

    assert in_mm == pytest.approx(in_pixels)


def test_a_head_without_a_size_has_no_index() -> None:
    with pytest.raises(MeasurementProblem):
        index_from_centres((0, 0), (3, 4), 0)


def test_the_index_is_found_from_outlines() -> None:
    def arc(x: float, y: float, radius: float) -> list[tuple[float, float]]:
        turns = (0.2, 0.9, 1.7, 2.4, 3.1)
        return [(x + radius * math.cos(turn), y + radius * math.sin(turn)) for turn in turns]

    index = index_from_outlines(arc(100, 100, 13), arc(103, 104, 10))

    assert index == pytest.approx(0.5, abs=1e-9)


@given(own=POINTS, other=POINTS, rim=POINTS)
def test_the_angle_is_the_same_with_the_y_axis_up_or_down(
    own: tuple[float, float], other: tuple[float, float], rim: tuple[float, float]
) -> None:
    if own in (other, rim):
        return

    upward = norberg_angle_deg(own, other, rim)
    downward = norberg_angle_deg(*((x, -y) for x, y in (own, other, rim)))

    assert 0 <= upward <= 180
    assert upward == pytest.approx(downward, abs=1e-9)


def test_straight_angles_keep_their_precision() -> None:
    assert norberg_angle_deg((0, 0), (1, 0), (-1, 1e-9)) == pytest.approx(
        180 - 5.729578e-8, abs=1e-13
    )


@pytest.mark.parametrize("other", [(0.0, 0.0)])
def test_two_marks_on_one_point_are_refused(other: tuple[float, float]) -> None:
    with pytest.raises(MeasurementProblem):
        norberg_angle_deg((0, 0), other, (1, 1))
    with pytest.raises(MeasurementProblem):
        norberg_angle_deg((0, 0), (1, 1), other)
