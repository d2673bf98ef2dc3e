"""Grades and the liability behind them, against published figures.

Dempster & Lerner (1950), Genetics 35:212-236: a heritability on the liability times φ²/(p(1 − p))
is that of the trait taken as 0 and 1. Their factor at 10 % affected is written in textbooks with
the height of the normal curve, 0.1755, and at 25 % with 0.3178 (Falconer & Mackay 1996, appendix
table A: i·p = 1.755·0.10 and 1.271·0.25).
"""

import pytest

from registry.science.threshold import observed_part


@pytest.mark.parametrize(("affected", "observed"), [(0.10, 0.1027), (0.25, 0.1616), (0.06, 0.0755)])
def test_a_liability_of_0_30_is_seen_as_published_where_grades_are_two(
    affected: float, observed: float
) -> None:
    assert 0.30 * observed_part([1 - affected, affected]) == pytest.approx(observed, abs=6e-5)


@pytest.mark.parametrize(("affected", "height"), [(0.10, 0.1755), (0.25, 0.3178)])
def test_the_factor_is_made_of_the_height_of_the_normal_curve(
    affected: float, height: float
) -> None:
    factor = height**2 / (affected * (1 - affected))

    assert observed_part([1 - affected, affected]) == pytest.approx(factor, rel=1e-3)


def test_more_grades_hide_less_of_the_liability() -> None:
    two = observed_part([0.5, 0.5])
    ten = observed_part([0.1] * 10)

    # 2/π, as for a median split, and near 1 for fine grades.
    assert two == pytest.approx(0.6366, abs=1e-4)
    assert 0.9 < ten < 1.0
