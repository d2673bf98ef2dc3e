"""Working days, Monday to Friday."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.working_days import (
    answer_expected_between,
    is_overdue,
    working_days_between,
)

# 2026-11-23 is a Monday.
MONDAY, TUESDAY, FRIDAY = date(2026, 11, 23), date(2026, 11, 24), date(2026, 11, 27)
SATURDAY, NEXT_MONDAY = date(2026, 11, 28), date(2026, 11, 30)
DAYS = st.dates(date(2020, 1, 1), date(2030, 1, 1))


@pytest.mark.parametrize(
    ("start", "end", "days"),
    [
        (MONDAY, MONDAY, 0),
        (MONDAY, TUESDAY, 1),
        (FRIDAY, SATURDAY, 1),
        (FRIDAY, NEXT_MONDAY, 1),
        (SATURDAY, NEXT_MONDAY, 0),
        (MONDAY, NEXT_MONDAY, 5),
        (TUESDAY, MONDAY, 0),
    ],
)
def test_only_weekdays_count(start: date, end: date, days: int) -> None:
    assert working_days_between(start, end) == days


def test_a_holiday_does_not_count() -> None:
    assert working_days_between(MONDAY, NEXT_MONDAY, holidays=[TUESDAY]) == 4


def test_an_answer_to_a_monday_is_expected_from_friday_to_tuesday() -> None:
    assert answer_expected_between(MONDAY) == (FRIDAY, date(2026, 12, 1))


@given(DAYS)
def test_the_expected_days_are_four_and_six_working_days_away(start: date) -> None:
    first, last = answer_expected_between(start)

    assert working_days_between(start, first) == 4
    assert working_days_between(start, last) == 6
    assert first.weekday() < 5
    assert last.weekday() < 5


def test_it_is_overdue_only_after_the_last_usual_day() -> None:
    _, last = answer_expected_between(MONDAY)

    assert not is_overdue(MONDAY, last)
    assert is_overdue(MONDAY, date(2026, 12, 2))
