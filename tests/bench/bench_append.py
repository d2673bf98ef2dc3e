"""What a ledger entry costs against the plain insert of the same row, each committed durably; and
what the public tree adds to it.

Measured is ``ledger.append`` in a transaction of its own: head row, canonical JSON, chain hash, the
entry past its triggers. The reference inserts finished rows into a twin of the table with the same
columns and indexes, and neither triggers nor a head.

The tree is not made by the append: a checkpoint an hour fills its tiles, makes its root and signs
it. So the entries of an hour are appended and sealed by one checkpoint, against the same number
appended and not sealed; the fewer they are, the more of a checkpoint each has to bear.
"""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import count
from time import perf_counter

from django.core.management import call_command
from django.db import connection, transaction
from django.utils import timezone

from registry.desk.log import publish_checkpoint
from registry.ledger import Actor, Change, append
from registry.models import LedgerEntry
from tests.bench.rounds import QUICK, Row, Turns, in_turns, readable

ROUNDS, TIMES = (2, 10) if QUICK else (9, 300)
SEALED_TOGETHER = (10, 20) if QUICK else (100, 1_000)
_TABLE, _TWIN = "registry_ledgerentry", "bench_plainentry"
_INSERT = (
    f"INSERT INTO {_TWIN} (seq, at, action, subject, dog, actor, body, prev_hash, hash)"
    " VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s)"
)


def run() -> list[Row]:
    """Return the rows of the append, without the tree and with it."""
    call_command("migrate", interactive=False, verbosity=0)
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
        ),
        *map(_with_tree, SEALED_TOGETHER),
    ]


def _with_tree(entries: int) -> Row:
    """The row of so many entries with one checkpoint, against the same without it."""
    measured, reference, sealing = [], [], []
    for turn in range(ROUNDS + 1):
        for is_sealed in (turn % 2 == 0, turn % 2 == 1):
            # What was appended for the reference is sealed outside of the time that is taken.
            publish_checkpoint()
            began = perf_counter()
            for _each in range(entries):
                _append()
            appended = perf_counter()
            if is_sealed:
                publish_checkpoint()
                measured.append(perf_counter() - began)
                sealing.append(perf_counter() - appended)
            else:
                reference.append(appended - began)
    turns = Turns(measured[1:], reference[1:])
    return turns.row(
        what=f"ledger append with the tree, a checkpoint after each {entries:,} entries",
        against="the chain alone, durable",
        goal="<= 1.5",
        n=f"{ROUNDS} rounds of {entries:,}",
        detail=f"a checkpoint takes {readable(sorted(sealing)[len(sealing) // 2])}",
    )


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
