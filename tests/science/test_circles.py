"""The fitted circle does not depend on where, how large or how turned the film is."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.circles import CircleProblem, fit_circle


@given(
    x=st.floats(-2000, 2000),
    y=st.floats(-2000, 2000),
    radius=st.floats(0.5, 900),
    start=st.floats(0, 6.28),
    arc=st.floats(1.0, 6.2),
)
def test_points_of_a_circle_give_that_circle_back(
    x: float, y: float, radius: float, start: float, arc: float
) -> None:
    turns = np.linspace(start, start + arc, 8)
    points = [(x + radius * math.cos(turn), y + radius * math.sin(turn)) for turn in turns]

    circle = fit_circle(points)

    assert circle.centre == pytest.approx((x, y), abs=1e-6 * radius + 1e-9 * (abs(x) + abs(y)))
    assert circle.radius == pytest.approx(radius, rel=1e-6, abs=1e-9 * (abs(x) + abs(y)))


def test_no_nearby_circle_is_closer_to_noisy_points() -> None:
    noise = np.random.default_rng(7).normal(0, 0.4, (12, 2))
    turns = np.linspace(0.2, 2.9, 12)
    points = 10 * np.column_stack([np.cos(turns), np.sin(turns)]) + noise

    circle = fit_circle([(float(x), float(y)) for x, y in points])

    def squares(x: float, y: float, radius: float) -> float:
        away = np.hypot(points[:, 0] - x, points[:, 1] - y) - radius
        return float((away**2).sum())

    best = squares(*circle.centre, circle.radius)
    assert best == pytest.approx(12 * circle.rms_residual**2)
    for shift in (-0.01, 0.01):
        assert squares(circle.centre[0] + shift, circle.centre[1], circle.radius) > best
        assert squares(circle.centre[0], circle.centre[1] + shift, circle.radius) > best
        assert squares(*circle.centre, circle.radius + shift) > best


@pytest.mark.parametrize(
    "points",
    [
        [],
        [(0, 0), (1, 1)],
        [(2, 2), (2, 2), (2, 2)],
        [(0, 0), (1, 1), (0, 0), (1, 1)],
        [(1e6, 1e6), (1e6 + 1, 1e6 + 1), (1e6 + 2, 1e6 + 2)],
        [(0, 0), (1, 1), (2, float("nan"))],
        [(0, 0), (1, 1), (2, float("inf"))],
        [(0, 0, 0), (1, 1, 1), (2, 3, 4)],
    ],
)
def test_points_without_a_circle_are_refused(points: list[tuple[float, float]]) -> None:
    with pytest.raises(CircleProblem):
        fit_circle(points)


def test_a_zigzag_that_a_line_fits_better_than_any_circle_is_refused() -> None:
    with pytest.raises(CircleProblem):
        fit_circle([(-3, -0.1), (-1, 0.1), (1, -0.1), (3, 0.1)])


def test_an_arc_so_flat_that_its_centre_is_anywhere_is_refused() -> None:
    with pytest.raises(CircleProblem):
        fit_circle([(0, 0), (1, 1e-6), (2, 0), (3, -1e-6)])
