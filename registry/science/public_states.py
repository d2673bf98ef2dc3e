"""When a change of the counts becomes public: moments apart, and withheld values only in groups.

Two public states one after the other differ by released values, which explain themselves, and by
withheld ones, which must not be told apart: so these come and go ``FEWEST_TOGETHER`` or more at a
time, in each sex of a breed and trait, and those that came together are never parted into fewer.
Instants in, instants out.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

from registry.science.distribution import month_number

FEWEST_TOGETHER = 5
"""So many values, withheld now and ever before, come in or go out together at the least."""


def next_moment(
    at: datetime,
    *,
    latest: datetime | None,
    pending: datetime | None,
    turn: datetime,
    apart: timedelta,
) -> datetime:
    """Return the moment at which a change made at ``at`` becomes public.

    ``latest`` is the latest state's moment, ``pending`` one that is yet to come, ``turn`` the next
    turn of a month, when windows slide. At once when the latest state is older than ``apart``, else
    when that time is over; never closer to a turn than that, as a turn makes a state too.
    """
    if pending is not None and pending > at:
        return pending
    moment = at
    if latest is not None:
        moment = max(at, latest + (apart or timedelta(microseconds=1)))
    return turn if turn - apart < moment < turn + apart else moment


def may_part(*, never: int, waiting: int) -> bool:
    """Whether those of a group that wait may go: all of it, or so many that both parts are enough.

    ``never`` are the group's withheld values that were never shown, ``waiting`` those of them that
    wait. Of three states, before the group, with it and after some went, the last two would tell a
    single one that stayed. A group of which some were released since may be a smaller one, and
    goes as a whole.
    """
    rest = never - waiting
    return rest == 0 or (waiting >= FEWEST_TOGETHER and rest >= FEWEST_TOGETHER)


def month_after(month: date, months: int) -> date:
    """Return the first day of the month so many months after ``month``: the first one in which a
    window of that length does not hold ``month`` any more."""
    year, index = divmod(month_number(month) + months, 12)
    return date(year, index + 1, 1)
