"""Faults that pass by themselves or by a hand at the machine: a disk that is full, a database that
is away, shutting down or locked for too long, a clock that was set back. Who asked may ask again;
nobody is to blame.
"""

from __future__ import annotations

import errno
import sqlite3

from django.db import InterfaceError, OperationalError

from registry.clock import ClockIsBehindError

RETRY_AFTER_SECONDS = 120

_OF_THE_DISK = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO})


def passes(error: BaseException | None) -> bool:
    """Whether the fault, or one that led to it, is of this kind."""
    while error is not None:
        if isinstance(error, OSError) and error.errno in _OF_THE_DISK:
            return True
        if isinstance(error, (OperationalError, InterfaceError)) and not _is_bad_sql(error):
            return True
        if isinstance(error, ClockIsBehindError):
            return True
        error = error.__cause__ or error.__context__
    return False


def _is_bad_sql(error: Exception) -> bool:
    """SQLite's kind for a table that is missing, which no waiting brings."""
    return getattr(error.__cause__, "sqlite_errorcode", None) == sqlite3.SQLITE_ERROR
