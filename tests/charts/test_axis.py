"""The axis: round ticks with room for their values, and widths that text never exceeds."""

import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.charts.axis import Scale, axis, tick_steps


@given(first=st.integers(-500, 5000), steps=st.integers(1, 3000))
def test_ticks_are_few_even_and_on_round_steps(first: int, steps: int) -> None:
    scale = Scale(first, first + steps - 1)

    ticks = tick_steps(scale, least_gap=46)

    assert 1 <= len(ticks) <= 7
    assert all(scale.holds(step) for step in ticks)
    if len(ticks) > 1:
        every = ticks[1] - ticks[0]
        assert int(str(every).rstrip("0")) in {1, 2, 5}
        assert all(step % every == 0 for step in ticks)
        assert every * scale.unit >= 46


@pytest.mark.parametrize(
    ("first", "last", "wanted"),
    [
        (14, 73, [20, 30, 40, 50, 60, 70]),  # an index of 0.14 to 0.73
        (180, 229, [180, 190, 200, 210, 220]),  # 90° to 114.5° in halves
        (0, 4, [0, 1, 2, 3, 4]),  # five grades
        (31, 31, [31]),
    ],
)
def test_ticks_of_the_usual_scales(first: int, last: int, wanted: list[int]) -> None:
    assert tick_steps(Scale(first, last), least_gap=46) == wanted


def test_every_step_keeps_its_place_when_the_scale_is_reversed() -> None:
    plain, mirrored = Scale(10, 19), Scale(10, 19, is_reversed=True)

    assert [plain.x(step) for step in range(10, 20)] == [
        pytest.approx(mirrored.x(step)) for step in range(19, 9, -1)
    ]


@pytest.mark.parametrize("first", [5, 14, 22, 30, 45])
def test_every_number_on_the_axis_is_a_round_one_at_even_distances(first: int) -> None:
    scale = Scale(first, first + 79)

    drawn = axis(scale, 100, value=str)

    shown = [int(number) for number in re.findall(r">(\d+)</text>", drawn)]
    assert len(shown) >= 3
    assert len({after - before for before, after in pairwise(shown)}) == 1
    assert all(number % (shown[1] - shown[0]) == 0 for number in shown)
    assert "tspan" not in drawn


def test_ten_short_grades_each_have_their_label() -> None:
    drawn = axis(Scale(0, 9), 100, value=str)

    assert [f">{grade}<" in drawn for grade in range(10)] == [True] * 10


def test_a_step_beyond_the_last_grade_has_neither_label_nor_tick() -> None:
    grades = "ABC"

    drawn = axis(
        Scale(-1, 3), 100, value=lambda step: grades[step] if 0 <= step < len(grades) else ""
    )

    assert [drawn.count(f">{grade}<") for grade in grades] == [1, 1, 1]
    assert drawn.count("v4") == 3
