"""Dates as ISO 8601 has them, as far as this project relies on the language for it."""

from datetime import date, timedelta

import pytest

from tests.published.cases import topic

DATES = topic("standards")["iso8601-dates"]["expected"]
WEEKS = topic("standards")["iso8601-weeks"]["expected"]


@pytest.mark.parametrize("text", DATES["valid"])
def test_a_day_that_exists_is_read(text: str) -> None:
    # ISO 8601-1:2019; reproduced.
    assert date.fromisoformat(text).isoformat() == text


@pytest.mark.parametrize("text", DATES["invalid"])
def test_a_day_that_does_not_exist_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        date.fromisoformat(text)


@pytest.mark.parametrize(("born", "old_enough"), DATES["age_16_weeks"].items())
def test_sixteen_weeks_are_112_days(born: str, old_enough: str) -> None:
    assert (date.fromisoformat(born) + timedelta(days=112)).isoformat() == old_enough


@pytest.mark.parametrize(("week", "day"), WEEKS["week"].items())
def test_week_dates_name_the_published_days(week: str, day: str) -> None:
    assert date.fromisoformat(week).isoformat() == day
