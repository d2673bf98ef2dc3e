"""Let the trial club's ten years pass: the one place that puts another time in the clock's place.

It is refused unless the registry runs as a trial, inside the transaction that makes the trial club,
from the very first entry of its ledger. So no deed of a real club, and none of a trial club that is
there, can bear another time than the computer's.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

from django.conf import settings
from django.db import connection
from django.utils import timezone

from registry.clock import INVENTED

# Two deeds of one moment stay in their order.
_TICK = timedelta(milliseconds=1)
_HEAD = "SELECT seq FROM registry_ledgerhead WHERE id = 1"
_HELD_HEAD = "SELECT seq FROM registry_ledgerhead WHERE id = 1 FOR UPDATE"


class NotAllowedError(RuntimeError):
    """The clock was not, and must not be, set here."""


class InventedTime:
    """A clock that goes forward only, and never past the computer's own."""

    def __init__(self, start: datetime) -> None:
        self._at = start
        self._check(start)

    def __call__(self) -> datetime:
        """The instant; each one asked for is a little later than the one before."""
        self._at += _TICK
        return self._at

    def move_to(self, at: datetime) -> None:
        """Let time pass until ``at`` (aware); raises NotAllowedError for what has passed."""
        if at < self._at:
            raise NotAllowedError(f"it is {self._at} already, so it cannot become {at}")
        self._check(at)
        self._at = at

    def _check(self, at: datetime) -> None:
        if at > timezone.now():
            raise NotAllowedError(f"{at} has not come yet")


@contextmanager
def invented_time(start: datetime) -> Iterator[InventedTime]:
    """Let the clock stand at ``start`` (aware) inside the block, and go on as it is moved.

    Raises NotAllowedError outside a trial, outside a transaction, inside another block, or where
    the ledger has an entry. The ledger's head is held until the commit, so nobody else writes.
    """
    if settings.MODE != "demo":
        raise NotAllowedError("only the club that is made for a trial may be of another time")
    if not connection.in_atomic_block:
        raise NotAllowedError("the trial club is made in one transaction")
    if INVENTED.get() is not None:
        raise NotAllowedError("another time is set already")
    with connection.cursor() as cursor:
        cursor.execute(_HELD_HEAD if connection.vendor == "postgresql" else _HEAD)
        if cursor.fetchone() != (0,):
            raise NotAllowedError("this ledger has entries: its time is the computer's")
    clock = InventedTime(start)
    was = INVENTED.set(clock)
    try:
        yield clock
    finally:
        INVENTED.reset(was)
