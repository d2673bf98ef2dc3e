"""One moment of the database, however long the reading takes and whoever writes meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection, connections, transaction


@contextmanager
def snapshot() -> Iterator[None]:
    """Read everything inside as of one instant, without keeping writers waiting.

    Inside a transaction of the caller's, that transaction is what is read.
    """
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        with _reading_only(), transaction.atomic():
            yield


@contextmanager
def _reading_only() -> Iterator[None]:
    """Begin the next transaction of SQLite without the write lock: in WAL mode a reader keeps the
    state it met first."""
    # An attribute of Django's SQLite connections alone, which its types do not know.
    wrapper: Any = connections[DEFAULT_DB_ALIAS]
    # Connecting sets it.
    wrapper.ensure_connection()
    usual = wrapper.transaction_mode
    wrapper.transaction_mode = "DEFERRED"
    try:
        yield
    finally:
        wrapper.transaction_mode = usual
