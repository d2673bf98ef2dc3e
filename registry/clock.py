"""What time it is for deeds, the ledger and the rows they write.

It is the computer's time. Only ``ledger.invented_time`` may put another in its place, for the trial
club and while that is being made; it says when that is refused. Sessions, passwords, backups and
tasks belong to the machine and ask Django. Below the models, so that a row's own instants are of
the same clock as the entry that records it.
"""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from datetime import date, datetime

from django.utils import timezone

# Of one thread alone: what a page in another thread reads or writes is never touched.
INVENTED: ContextVar[Callable[[], datetime] | None] = ContextVar("invented_time", default=None)


class ClockIsBehindError(RuntimeError):
    """The computer's clock is far behind the ledger's newest entry; nothing was written."""


def now() -> datetime:
    """The instant, aware."""
    invented = INVENTED.get()
    return timezone.now() if invented is None else invented()


def is_invented() -> bool:
    """Whether a trial club's past is being made: what it would have sent out has long been sent."""
    return INVENTED.get() is not None


def today() -> date:
    """The day on the club's calendar."""
    return timezone.localdate(now())
