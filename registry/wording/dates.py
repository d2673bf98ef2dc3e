"""Dates in words: always with the month's name, so that 2 October is never read as 10 February."""

from __future__ import annotations

import datetime as dt

from django.utils import dateformat, timezone


def day(date: dt.date) -> str:
    """``2 October 2026``; an aware instant is first brought to the club's time zone."""
    return dateformat.format(_local(date), "j F Y")


def month(date: dt.date) -> str:
    """``October 2026``."""
    return dateformat.format(_local(date), "F Y")


def moment(at: dt.date) -> str:
    """``2 October 2026, 14:05`` for an instant; a plain date gets no invented clock time."""
    return dateformat.format(_local(at), "j F Y, H:i" if isinstance(at, dt.datetime) else "j F Y")


def _local(date: dt.date) -> dt.date:
    if isinstance(date, dt.datetime) and timezone.is_aware(date):
        return timezone.localtime(date)
    return date
