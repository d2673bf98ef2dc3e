"""Dates in words: always with the month's name, so that 2 October is never read as 10 February."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache

from django.utils import dateformat, timezone
from django.utils.translation import get_language


def day(date: dt.date) -> str:
    """``2 October 2026``; an aware instant is first brought to the club's time zone."""
    return _worded(_day_of(date), "j F Y", get_language())


def month(date: dt.date) -> str:
    """``October 2026``."""
    return _worded(_day_of(date), "F Y", get_language())


def moment(at: dt.date) -> str:
    """``2 October 2026, 14:05`` for an instant; a plain date gets no invented clock time."""
    if not isinstance(at, dt.datetime):
        return day(at)
    local = timezone.localtime(at) if timezone.is_aware(at) else at
    return f"{day(at)}, {local:%H:%M}"


@lru_cache(maxsize=4096)
def _worded(date: dt.date, pattern: str, _language: str | None) -> str:
    """A page names the same few days many times; the language is part of what is remembered."""
    return dateformat.format(date, pattern)


def _day_of(date: dt.date) -> dt.date:
    if not isinstance(date, dt.datetime):
        return date
    return (timezone.localtime(date) if timezone.is_aware(date) else date).date()
