"""The circle laid through marked points, against published worked examples."""

import numpy as np
import pytest

from registry.science.circles import CircleProblem, _taubin, fit_circle
from tests.published.cases import topic

CASES = topic("circle_fits")


def test_the_geometric_fit_gives_the_published_circle() -> None:
    # Gander, Golub & Strebel (1994), BIT 34:558-578, worked example. Reproduced with scipy; the
    # printed four decimals are from memory.
    case = CASES["circle-ggs94-geometric"]

    circle = fit_circle(case["inputs"]["points"])

    printed, full = case["expected"]["published"], case["expected"]["full"]
    found = (*circle.centre, circle.radius)
    assert found == pytest.approx((printed["cx"], printed["cy"], printed["r"]), abs=5e-5)
    assert found == pytest.approx((full["cx"], full["cy"], full["r"]), abs=1e-6)
    assert circle.rms_residual == pytest.approx(case["expected"]["rms_residual"], abs=1e-7)


def test_the_start_is_the_published_taubin_circle() -> None:
    # Method: Taubin (1991), IEEE PAMI 13:1115-1138; Chernov (2010), ch. 5. Points of Gander et al.
    # Reproduced by two separate implementations.
    case = CASES["circle-ggs94-taubin"]
    points = np.array(case["inputs"]["points"], dtype=float)

    x, y, radius = _taubin(points - points.mean(axis=0))

    full = case["expected"]["full"]
    found = (x + points[:, 0].mean(), y + points[:, 1].mean(), radius)
    assert found == pytest.approx((full["cx"], full["cy"], full["r"]), abs=1e-6)


def test_it_is_not_the_circle_of_the_simple_linear_fit() -> None:
    # Kasa (1976), IEEE Trans Instrum Meas 25:8-14: a known wrong answer for a short arc.
    case = CASES["circle-ggs94-kasa"]

    circle = fit_circle(case["inputs"]["points"])

    assert abs(circle.radius - case["expected"]["full"]["r"]) > 0.5


def test_three_points_give_their_circumcircle() -> None:
    # Elementary geometry: the right triangle 3, 4, 5.
    case = CASES["circle-three-points"]

    circle = fit_circle(case["inputs"]["points"])

    assert circle.centre == pytest.approx((2.0, 1.5), abs=1e-9)
    assert circle.radius == pytest.approx(2.5, abs=1e-9)


def test_points_on_a_line_are_refused() -> None:
    # Elementary geometry.
    with pytest.raises(CircleProblem):
        fit_circle(CASES["circle-collinear"]["inputs"]["points"])
