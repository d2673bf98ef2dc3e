"""Let the n-th statement or the n-th file operation of a deed fail, as a lost connection or a full
disk would; and say exactly what the database and the folder hold, to see that nothing stayed.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from enum import StrEnum
from pathlib import Path
from typing import Any
from unittest.mock import patch

from django.apps import apps
from django.db import OperationalError, connection
from psycopg.errors import DiskFull

SQL_WORDS = "planted: the statement failed"
# What migrations write and no deed.
_LEFT_OUT = frozenset({"django_migrations", "django_content_type", "auth_permission"})


class How(StrEnum):
    """How a statement fails."""

    REFUSED = "not executed"
    ANSWER_LOST = "executed, its answer lost"
    GONE = "this and every later one not executed"


class Fault:
    """The n-th of the operations inside fails; ``was_hit`` says whether there were that many."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.seen = 0

    @property
    def was_hit(self) -> bool:
        return self.seen >= self.number

    def strikes(self) -> bool:
        """Count one operation; whether it is the one."""
        self.seen += 1
        return self.seen == self.number


@contextmanager
def sql_fault(number: int, how: How) -> Iterator[Fault]:
    """Fail the n-th statement; the COMMIT counts as one, the ROLLBACK never fails."""
    fault = Fault(number)
    # Django's own connection; its types do not name what a transaction calls in the end.
    inner: Any = connection
    commit = inner._commit

    def fails() -> bool:
        is_it = fault.strikes()
        return is_it or (how is How.GONE and fault.was_hit)

    def statement(execute: Any, sql: str, parameters: Any, many: bool, context: Any) -> Any:
        if sql.startswith("ROLLBACK"):
            return execute(sql, parameters, many, context)
        if not fails():
            return execute(sql, parameters, many, context)
        # A BEGIN has no answer to lose: it never leaves the process.
        if how is How.ANSWER_LOST and not sql.startswith("BEGIN"):
            execute(sql, parameters, many, context)
        raise OperationalError(SQL_WORDS)

    def committing() -> None:
        # A commit whose answer is lost is a deed that was done: kills show that one.
        if fails():
            raise OperationalError(SQL_WORDS)
        commit()

    with (
        connection.execute_wrapper(statement),
        patch.object(connection, "_commit", committing),
    ):
        yield fault


_WRITES = ("INSERT", "UPDATE", "DELETE")
_MOST_PAGES = 2**30


@contextmanager
def full_disk() -> Iterator[None]:
    """Each statement that writes answers as the database does when its disk has no room left."""
    with connection.execute_wrapper(_no_room):
        yield


def _no_room(execute: Any, sql: str, parameters: Any, many: bool, context: Any) -> Any:
    if not sql.startswith(_WRITES):
        return execute(sql, parameters, many, context)
    if connection.vendor == "postgresql":
        raise OperationalError(SQL_WORDS) from DiskFull(SQL_WORDS)
    cause = sqlite3.OperationalError(SQL_WORDS)
    cause.sqlite_errorcode = sqlite3.SQLITE_FULL
    raise OperationalError(SQL_WORDS) from cause


@contextmanager
def full_file() -> Iterator[None]:
    """SQLite's file really has no free page left and may not grow: what fits where there is room
    is still written, the next thing fails in the middle."""
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE filler (bytes BLOB)")
        cursor.execute("PRAGMA page_count")
        cursor.execute(f"PRAGMA max_page_count = {cursor.fetchone()[0]}")
        with suppress(OperationalError):
            while True:
                cursor.execute("INSERT INTO filler VALUES (zeroblob(3000))")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA max_page_count = {_MOST_PAGES}")
            cursor.execute("DROP TABLE filler")


class _Writing(io.FileIO):
    """An unbuffered file of which each write can fail."""

    def __init__(self, path: Path, mode: str, may: Callable[[], None]) -> None:
        super().__init__(path, mode)
        self._may = may

    def write(self, data: Any) -> int:
        self._may()
        return super().write(data) or 0


@contextmanager
def file_fault(number: int, code: int, folder: Path) -> Iterator[Fault]:
    """Fail the n-th operation on files below the folder: mkdir, open, write, fsync, rename,
    unlink."""
    fault = Fault(number)
    is_here = str(folder)
    opened = io.open

    def may() -> None:
        if fault.strikes():
            raise OSError(code, os.strerror(code))

    def counted(plain: Callable[..., Any]) -> Callable[..., Any]:
        def operation(path: Any, *rest: Any, **named: Any) -> Any:
            if isinstance(path, int) or str(path).startswith(is_here):
                may()
            return plain(path, *rest, **named)

        return operation

    def open_file(path: Any, mode: str = "r", *rest: Any, **named: Any) -> Any:
        if not str(path).startswith(is_here):
            return opened(path, mode, *rest, **named)
        may()
        return _Writing(path, mode, may) if "x" in mode or "w" in mode else opened(path, mode)

    with (
        patch.object(os, "mkdir", counted(os.mkdir)),
        patch.object(os, "open", counted(os.open)),
        patch.object(os, "fsync", counted(os.fsync)),
        patch.object(os, "rename", counted(os.rename)),
        patch.object(os, "unlink", counted(os.unlink)),
        patch.object(io, "open", open_file),
    ):
        yield fault


CODES = (errno.EIO, errno.ENOSPC)


def rows() -> dict[str, str]:
    """Every table's content as a digest, by the table's name."""
    tables = {
        model._meta.db_table
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed
    }
    if connection.vendor == "sqlite":
        # Where names are found; on PostgreSQL that is an index.
        tables.add("registry_dogname")
    with connection.cursor() as cursor:
        return {table: _digest(cursor, table) for table in sorted(tables - _LEFT_OUT)}


def _digest(cursor: Any, table: str) -> str:
    cursor.execute(f'SELECT * FROM "{table}"')
    lines = sorted(map(repr, cursor.fetchall()))
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()
