"""Eleven ways to damage a registry behind its own back, each at a random place.

The planter is somebody who owns the server: triggers are out of the way, hashes are made to fit,
and the log's own key is at hand. ``Damaged`` says where the damage lies and what finds it.
"""

from __future__ import annotations

import hashlib
import json
import random
from collections.abc import Callable
from dataclasses import dataclass

from django.db import connection

from registry.desk.evidence import stored_path
from registry.desk.log import publish_checkpoint
from registry.ledger.append import GENESIS
from registry.models import Certificate, Evidence, LedgerEntry, LedgerTile, LogCheckpoint, Reading


@dataclass(frozen=True)
class Damaged:
    """The entry at which the damage begins; ``undo`` puts back what no transaction does."""

    seq: int
    undo: Callable[[], object] = lambda: None


Row = tuple[int, str, str, str]


def execute(sql: str, *values: str | int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


def rows(first: int = 1) -> list[Row]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT seq, body, prev_hash, hash FROM registry_ledgerentry"
            " WHERE seq >= %s ORDER BY seq",
            [first],
        )
        found: list[Row] = cursor.fetchall()
    return found


def chained(previous: str, body: str) -> str:
    return hashlib.sha256(bytes.fromhex(previous) + body.encode()).hexdigest()


def rechain(first: int, body: str) -> None:
    """Give the entry another body and write every later hash and the head anew."""
    previous = GENESIS if first == 1 else rows(first - 1)[0][3]
    for seq, stored, _prev, _hash in rows(first):
        own = body if seq == first else stored
        hashed = chained(previous, own)
        execute(
            "UPDATE registry_ledgerentry SET body = %s, prev_hash = %s, hash = %s WHERE seq = %s",
            own,
            previous,
            hashed,
            seq,
        )
        previous = hashed
    execute("UPDATE registry_ledgerhead SET hash = %s", previous)


def sign_anew() -> None:
    """Make tiles and checkpoints again with the real key, over what the ledger says now."""
    sizes = list(LogCheckpoint.objects.values_list("size", flat=True))
    LedgerTile.objects.all().delete()
    LogCheckpoint.objects.all().delete()
    with connection.cursor() as cursor:
        cursor.execute("SELECT seq FROM registry_ledgerhead")
        (last,) = cursor.fetchone()
    for size in sizes:
        execute("UPDATE registry_ledgerhead SET seq = %s", min(size, last))
        publish_checkpoint()
    execute("UPDATE registry_ledgerhead SET seq = %s", last)


def other_body(body: str) -> str:
    """The body with another reason code, every column still fitting."""
    return body.replace('"why":"', '"why":"x', 1)


def edited_field(dice: random.Random, last: int) -> Damaged:
    seq = dice.randint(1, last)
    column = dice.choice(["action", "subject", "dog", "actor"])
    execute(f"UPDATE registry_ledgerentry SET {column} = 'forged' WHERE seq = %s", seq)
    return Damaged(seq)


def edited_and_rehashed(dice: random.Random, last: int) -> Damaged:
    seq = dice.randint(1, last)
    _seq, body, previous, _hash = rows(seq)[0]
    forged = other_body(body)
    execute(
        "UPDATE registry_ledgerentry SET body = %s, hash = %s WHERE seq = %s",
        forged,
        chained(previous, forged),
        seq,
    )
    return Damaged(seq)


def deleted(dice: random.Random, last: int) -> Damaged:
    seq = dice.randint(1, last - 1)
    execute("DELETE FROM registry_ledgertext WHERE entry_id = %s", seq)
    execute("DELETE FROM registry_ledgerentry WHERE seq = %s", seq)
    return Damaged(seq)


def inserted(_dice: random.Random, last: int) -> Damaged:
    """A forged entry after the last one, its hash fitting."""
    _seq, body, _prev, previous = rows(last)[0]
    facts = json.loads(body)
    facts["seq"] = last + 1
    forged = json.dumps(facts, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    execute(
        "INSERT INTO registry_ledgerentry"
        " (seq, at, action, subject, dog, actor, body, prev_hash, hash)"
        " SELECT %s, at, action, subject, dog, actor, %s, %s, %s"
        " FROM registry_ledgerentry WHERE seq = %s",
        last + 1,
        forged,
        previous,
        chained(previous, forged),
        last,
    )
    return Damaged(last + 1)


def swapped(dice: random.Random, last: int) -> Damaged:
    """Two entries change places, numbers and all."""
    first, second = sorted(dice.sample(range(1, last + 1), 2))
    columns = "at, action, subject, dog, actor, body, prev_hash, hash"
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {columns} FROM registry_ledgerentry WHERE seq IN (%s, %s) ORDER BY seq",
            [first, second],
        )
        one, other = cursor.fetchall()
    settings = ", ".join(f"{name} = %s" for name in columns.split(", "))
    for seq, values in ((first, other), (second, one)):
        execute(f"UPDATE registry_ledgerentry SET {settings} WHERE seq = %s", *values, seq)
    return Damaged(first)


def cut(dice: random.Random, last: int) -> Damaged:
    """The newest entries go, and the head names the last that is left."""
    left = last - dice.randint(1, 40)
    execute("DELETE FROM registry_ledgertext WHERE entry_id > %s", left)
    execute("DELETE FROM registry_ledgerentry WHERE seq > %s", left)
    execute("UPDATE registry_ledgerhead SET seq = %s, hash = %s", left, rows(left)[0][3])
    return Damaged(left + 1)


def rewritten(dice: random.Random, last: int) -> Damaged:
    """History is written anew from an entry on, the public tree and its checkpoints as well."""
    seq = dice.randint(1, last)
    rechain(seq, other_body(rows(seq)[0][1]))
    sign_anew()
    return Damaged(seq)


def dated_back(dice: random.Random, last: int) -> Damaged:
    """An entry says it was written a year earlier; column, body and own hash agree."""
    seq = dice.randint(1, last)
    _seq, body, previous, _hash = rows(seq)[0]
    at = json.loads(body)["at"]
    earlier = f"{int(at[:4]) - 1}{at[4:]}"
    forged = body.replace(at, earlier, 1)
    execute(
        "UPDATE registry_ledgerentry SET at = %s, body = %s, hash = %s WHERE seq = %s",
        earlier.replace("T", " ").removesuffix("Z"),
        forged,
        chained(previous, forged),
        seq,
    )
    return Damaged(seq)


def flipped_file(dice: random.Random, _last: int) -> Damaged:
    evidence = dice.choice(list(Evidence.objects.order_by("pk")))
    path = stored_path(evidence)
    content = path.read_bytes()
    at = dice.randrange(len(content))
    path.chmod(0o600)
    path.write_bytes(
        content[:at] + bytes([content[at] ^ (1 << dice.randrange(8))]) + content[at + 1 :]
    )
    entry = LedgerEntry.objects.get(
        subject=f"evidence:{evidence.public_id}", action="evidence.attached"
    )
    return Damaged(entry.seq, lambda: path.write_bytes(content))


def edited_certificate(dice: random.Random, _last: int) -> Damaged:
    """A certificate's reading is changed, to look better than what was sent in."""
    certificate = dice.choice(list(Certificate.objects.order_by("pk")))
    Reading.objects.filter(evaluation=certificate.evaluation_id, side="left").update(step=1)
    return Damaged(_entry(certificate, "evaluation.submitted"))


def edited_standing(dice: random.Random, _last: int) -> Damaged:
    certificate = dice.choice(list(Certificate.objects.order_by("pk")))
    standing = {slug: {**facts, "worse": 999} for slug, facts in certificate.standing.items()}
    Certificate.objects.filter(pk=certificate.pk).update(standing=standing)
    return Damaged(_entry(certificate, "evaluation.accepted"))


def _entry(certificate: Certificate, action: str) -> int:
    subject = f"evaluation:{certificate.evaluation.public_id}"
    return LedgerEntry.objects.get(subject=subject, action=action).seq


KINDS: dict[str, Callable[[random.Random, int], Damaged]] = {
    "a field edited": edited_field,
    "a body edited and rehashed": edited_and_rehashed,
    "an entry deleted": deleted,
    "an entry inserted": inserted,
    "two entries swapped": swapped,
    "the tail cut": cut,
    "everything rewritten and signed anew": rewritten,
    "the clock put back": dated_back,
    "a file's bit flipped": flipped_file,
    "a certificate's reading edited": edited_certificate,
    "a standing as issued edited": edited_standing,
}
