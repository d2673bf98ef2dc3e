"""Working days, Monday to Friday: how long a result has waited, and when an answer is usual.

Public holidays differ by country and club; a caller may pass its own. What is late in words is for
the pages to say.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np

# Results come back within four to six working days: common practice, no source.
USUAL_WORKING_DAYS = (4, 6)


def working_days_between(start: date, end: date, holidays: Iterable[date] = ()) -> int:
    """Return the working days from start (counted) up to end (not counted), 0 when end is earlier.

    Monday to Tuesday is 1, Friday to Monday is 1, Saturday to Monday is 0.
    """
    days = np.busday_count(_day(start), _day(end), holidays=[_day(day) for day in holidays])
    return max(int(days), 0)


def answer_expected_between(start: date, holidays: Iterable[date] = ()) -> tuple[date, date]:
    """Return the first and the last day on which an answer is usual."""
    closed = [_day(day) for day in holidays]
    first, last = (
        np.busday_offset(_day(start), days, roll="forward", holidays=closed).astype(date)
        for days in USUAL_WORKING_DAYS
    )
    return first, last


def is_overdue(start: date, today: date, holidays: Iterable[date] = ()) -> bool:
    """Return whether the usual time for an answer has passed."""
    return working_days_between(start, today, holidays) > USUAL_WORKING_DAYS[1]


def _day(day: date) -> np.datetime64:
    return np.datetime64(day, "D")
