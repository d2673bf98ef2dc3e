"""How long the verification of the ledger takes against hashing alone, and how large a proof is.

Measured is ``ledger.verify`` as the command does it: every row read from the database, its chain,
body and columns checked, the public tree made anew and held against the stored tiles and every
checkpoint. The reference hashes the same bytes, which lie in memory, one SHA-256 an entry.
"""

from __future__ import annotations

import hashlib
import os
import statistics
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from django.core.management import call_command
from django.db import connection, transaction
from django.test import Client

from registry.desk.log import publish_checkpoint
from registry.ledger import Actor, tree
from registry.ledger.append import canonical_body, chain_hash
from registry.ledger.verify import verify
from registry.models import LedgerEntry, LedgerHead, LogCheckpoint
from registry.queries.public_log import inclusion_proof
from tests.bench.club import copy_rows
from tests.bench.rounds import QUICK, Row, in_turns

# For each size: rounds, and the goal.
SIZES = (
    {2_000: (2, "<= 5"), 5_000: (2, "<= 3")}
    if QUICK
    else {
        100_000: (9, "<= 5"),
        1_000_000: (5, "<= 3"),
    }
)
_BETWEEN_CHECKPOINTS = 1_000
_GOAL_SECONDS, _GOAL_BYTES = "<= 30", "<= 1024"
_COLUMNS = ["seq", "at", "action", "subject", "dog", "actor", "body", "prev_hash", "hash"]
_START = datetime(2020, 1, 1, 8, tzinfo=UTC)
_ACTOR = Actor(
    user_pk=None, subject_id="b" * 16, role=None, via="web", request_id="0123456789abcdef" * 2
)


def run() -> list[Row]:
    """Return the rows of the verification, at each size, and those of the proof at the first."""
    call_command("migrate", interactive=False, verbosity=0)
    rows: list[Row] = []
    for size, (rounds, goal) in SIZES.items():
        checkpoints = _grow_to(size, is_sealed_often=not rows)
        rows += _verification(rounds, goal, checkpoints)
        if size == min(SIZES):
            rows += _proof(size)
    return rows


def _grow_to(size: int, *, is_sealed_often: bool) -> int:
    """Let the ledger have so many entries, with a checkpoint for each thousand, or at the end;
    returns how many checkpoints there are."""
    head = LedgerHead.objects.get()
    with transaction.atomic():
        copy_rows("registry_ledgerentry", _COLUMNS, _entries(head, size - head.seq))
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    every = _BETWEEN_CHECKPOINTS if is_sealed_often else size
    for sealed in range(every, size + 1, every):
        last = LedgerEntry.objects.get(seq=sealed)
        LedgerHead.objects.update(seq=last.seq, hash=last.hash)
        publish_checkpoint()
    return LogCheckpoint.objects.count()


def _verification(rounds: int, goal: str, checkpoints: int) -> list[Row]:
    hashed = [
        bytes.fromhex(prev_hash) + body.encode()
        for prev_hash, body in LedgerEntry.objects.order_by("seq")
        .values_list("prev_hash", "body")
        .iterator(10_000)
    ]

    def hash_all() -> None:
        for one in hashed:
            hashlib.sha256(one).hexdigest()

    turns = in_turns(_verify, hash_all, rounds=rounds)
    size = sum(map(len, hashed)) / len(hashed)
    n = f"{len(hashed):,} entries of {size:.0f} bytes, {checkpoints} checkpoints"
    what = "verification of the ledger: chain, tree, checkpoints"
    found = [turns.row(what=what, against="SHA-256 of the same bytes in memory", goal=goal, n=n)]
    if len(hashed) == min(SIZES):
        seconds = {"ratio": statistics.median(turns.measured), "goal": _GOAL_SECONDS}
        spread = {"low": min(turns.measured), "high": max(turns.measured)}
        against = {"what": f"{what}, s", "against": "none: seconds"}
        found.append({**against, **seconds, **spread, "n": n, "detail": "erasable texts: none"})
    return found


def _proof(size: int) -> list[Row]:
    """The largest inclusion proof of the tree: the longest path, of the largest number."""
    steps, entry = max(
        (len(tree.inclusion_path(lambda _level, _index: b"", index, size)), index + 1)
        for index in range(size)
    )
    address = f"/api/v1/log/inclusion?entry={entry}&size={size}"
    answer = Client(headers={"host": "127.0.0.1"}).get(address)
    assert len(answer.json()["path"]) == steps
    raw = sum(map(len, inclusion_proof(entry, size).path))
    facts = {"against": "1 KiB", "goal": _GOAL_BYTES, "n": f"{size:,} entries"}
    detail = f"entry {entry:,}: {steps} hashes"
    return [
        {"what": f"largest inclusion proof, {form}, bytes", "ratio": length, **facts}
        | {"detail": detail}
        for form, length in (("as the interface answers it", len(answer.content)), ("raw", raw))
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
