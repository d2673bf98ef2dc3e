"""How long the verification of a million ledger entries takes against hashing alone.

Measured is ``ledger.verify``: every row read from the database, its chain, body and columns
checked. The reference hashes the same bytes, which lie in memory, one SHA-256 an entry.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db import connection, transaction

from registry.ledger import Actor
from registry.ledger.append import canonical_body, chain_hash
from registry.ledger.verify import verify
from registry.models import LedgerEntry, LedgerHead
from tests.bench.club import copy_rows
from tests.bench.rounds import QUICK, Row, in_turns

ROUNDS = 2 if QUICK else 5
ENTRIES = 5_000 if QUICK else 1_000_000
_COLUMNS = ["seq", "at", "action", "subject", "dog", "actor", "body", "prev_hash", "hash"]
_START = datetime(2020, 1, 1, 8, tzinfo=UTC)
_ACTOR = Actor(
    user_pk=None, subject_id="b" * 16, role=None, via="web", request_id="0123456789abcdef" * 2
)


def run() -> list[Row]:
    """Return the row of the verification."""
    head = LedgerHead.objects.get()
    with transaction.atomic():
        copy_rows("registry_ledgerentry", _COLUMNS, _entries(head, ENTRIES - head.seq))
        last = LedgerEntry.objects.latest("seq")
        LedgerHead.objects.update(seq=last.seq, hash=last.hash)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    hashed = [
        bytes.fromhex(prev_hash) + body.encode()
        for prev_hash, body in LedgerEntry.objects.order_by("seq")
        .values_list("prev_hash", "body")
        .iterator(10_000)
    ]

    def hash_all() -> None:
        for one in hashed:
            hashlib.sha256(one).hexdigest()

    turns = in_turns(_verify, hash_all, rounds=ROUNDS)
    size = sum(map(len, hashed)) / len(hashed)
    return [
        turns.row(
            what="verification of the ledger",
            against="SHA-256 of the same bytes in memory",
            goal="<= 3",
            n=f"{len(hashed):,} entries of {size:.0f} bytes",
        )
    ]


def _verify() -> None:
    # As the command does it.
    assert verify(processes=os.cpu_count() or 1).is_whole


def _entries(head: LedgerHead, how_many: int) -> Iterator[tuple[Any, ...]]:
    previous = head.hash
    for seq in range(head.seq + 1, head.seq + how_many + 1):
        at = _START + timedelta(seconds=seq)
        subject, dog = f"evaluation:{seq:016d}", f"{seq:016d}"
        body = canonical_body(
            seq=seq,
            at=at,
            action="evaluation.accepted",
            subject=subject,
            dog=dog,
            by=_ACTOR,
            values={
                "state": {"from": "submitted", "to": "accepted"},
                "certificate": {"from": None, "to": f"{seq:010d}"},
            },
            texts={},
            reason_code="",
        )
        entry_hash = chain_hash(previous, body)
        stored_at = connection.ops.adapt_datetimefield_value(at)
        actor = _ACTOR.subject_id
        yield seq, stored_at, "evaluation.accepted", subject, dog, actor, body, previous, entry_hash
        previous = entry_hash
