"""What a ledger entry costs against the plain insert of the same row, each committed durably.

Measured is ``ledger.append`` in a transaction of its own: head row, canonical JSON, chain hash, the
entry past its triggers. The reference inserts finished rows into a twin of the table with the same
columns and indexes, and neither triggers nor a head.
"""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import count

from django.db import connection, transaction
from django.utils import timezone

from registry.ledger import Actor, Change, append
from registry.models import LedgerEntry
from tests.bench.rounds import QUICK, Row, in_turns

ROUNDS, TIMES = (2, 10) if QUICK else (9, 300)
_TABLE, _TWIN = "registry_ledgerentry", "bench_plainentry"
_INSERT = (
    f"INSERT INTO {_TWIN} (seq, at, action, subject, dog, actor, body, prev_hash, hash)"
    " VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s)"
)


def run() -> list[Row]:
    """Return the row of the append."""
    _make_twin()
    _append()
    entry = LedgerEntry.objects.latest("seq")
    numbers = count(1)

    def plain() -> None:
        at = connection.ops.adapt_datetimefield_value(timezone.now())
        row = [next(numbers), at, entry.action, entry.subject, entry.dog, entry.actor]
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(_INSERT, [*row, entry.body, entry.prev_hash, entry.hash])

    turns = in_turns(plain, _append, rounds=ROUNDS, times=TIMES)
    return [
        turns.row(
            what="ledger append, durable (its rate)",
            against="plain durable insert of the same row (its rate)",
            goal=">= 0.8",
            n=f"{ROUNDS} rounds of {TIMES}",
            detail="plain insert against append",
        )
    ]


_ACTOR = Actor(
    user_pk=None, subject_id="b" * 16, role=None, via="web", request_id="0123456789abcdef" * 2
)


def _append() -> None:
    with transaction.atomic():
        append(
            by=_ACTOR,
            action="evaluation.accepted",
            subject="evaluation:" + "k" * 16,
            dog="d" * 16,
            changes={
                "state": Change("submitted", "accepted"),
                "certificate": Change(None, "4K7Q2M9XR5"),
                "examined_on": Change(None, datetime(2026, 10, 2, tzinfo=UTC).date()),
            },
        )


def _make_twin() -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(f"DROP TABLE IF EXISTS {_TWIN}")
            cursor.execute(f"CREATE TABLE {_TWIN} (LIKE {_TABLE} INCLUDING ALL)")
            return
        cursor.execute(f"DROP TABLE IF EXISTS {_TWIN}")
        cursor.execute(
            "SELECT sql FROM sqlite_master WHERE tbl_name = %s AND type IN ('table', 'index')"
            " AND sql IS NOT NULL ORDER BY type DESC",
            [_TABLE],
        )
        for (sql,) in cursor.fetchall():
            cursor.execute(sql.replace(_TABLE, _TWIN).replace('INDEX "', 'INDEX "bench_'))
