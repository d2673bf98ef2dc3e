"""Append one entry, inside the transaction of the change it records.

The head row is locked first, so that on PostgreSQL two writers queue and the chain cannot fork; on
SQLite
the transaction already holds the one write lock. The keys of the body that columns repeat sort
before all
others, so that the verification compares them as one prefix of the text.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from django.db import connection

from registry import __version__, clock
from registry.ledger.actor import Actor

GENESIS = "0" * 64
# What a JSON number holds exactly (RFC 8785 section 3.2.2.3, RFC 7493 section 2.2).
_LARGEST = 2**53 - 1
# Two computers before one database never agree to the last millisecond.
_CLOCKS_DIFFER = timedelta(minutes=1)
_AT = "SELECT at FROM registry_ledgerentry WHERE seq = %s"
# On SQLite the transaction holds the only write lock already.
_HEAD = (
    "SELECT seq, hash, (SELECT at FROM registry_ledgerentry e WHERE e.seq = h.seq)"
    " FROM registry_ledgerhead h WHERE id = 1"
)
_LOCKED_HEAD = f"{_HEAD} FOR UPDATE OF h"


class Change(NamedTuple):
    """One field's value before and after; None where there was or is nothing."""

    before: Any
    after: Any


class Appended(NamedTuple):
    """What was appended: the entry's number and its instant (aware, UTC)."""

    seq: int
    at: datetime


def append(
    *,
    by: Actor,
    action: str,
    subject: str,
    dog: str = "",
    changes: Mapping[str, Change] | None = None,
    personal: Mapping[str, Change] | None = None,
    reason: str = "",
    reason_code: str = "",
) -> Appended:
    """Append an entry and return its number and server instant. Must run inside a transaction.

    ``subject`` is ``kind:public id``; ``dog`` the public id of the dog it is about. ``personal``
    holds fields whose values may name a person: they and ``reason`` enter the body as commitments
    only. No entry is earlier than the one before it: where the computer's clock is a little behind,
    the entry takes that one's instant; raises ClockIsBehindError where it is further behind.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("a ledger entry is written in the transaction of the change it records")

    texts: dict[str, tuple[str, str]] = {}
    commitments: dict[str, Any] = {}
    for name, change in (personal or {}).items():
        for end, value in (("from", change.before), ("to", change.after)):
            if value not in (None, ""):
                _commit_to(f"{name}.{end}", str(value), texts, commitments)
    if reason:
        _commit_to("reason", reason, texts, commitments)

    with connection.cursor() as cursor:
        cursor.execute(_LOCKED_HEAD if connection.vendor == "postgresql" else _HEAD)
        row = cursor.fetchone()
        if row is None:
            raise RuntimeError("the ledger has no head row; run manage.py migrate")
        seq, prev_hash = row[0] + 1, row[1]
        at = _not_before(row[2] if row[2] or not row[0] else _instant_of(cursor, row[0]))
        body = canonical_body(
            seq=seq,
            at=at,
            action=action,
            subject=subject,
            dog=dog,
            by=by,
            values={
                name: {"from": plain(change.before), "to": plain(change.after)}
                for name, change in (changes or {}).items()
            },
            texts=commitments,
            reason_code=reason_code,
        )
        entry_hash = chain_hash(prev_hash, body)
        _store(cursor, seq, at, action, subject, dog, by.subject_id, body, prev_hash, entry_hash)
        for field, (salt, text) in texts.items():
            cursor.execute(
                "INSERT INTO registry_ledgertext (entry_id, field, salt, text)"
                " VALUES (%s, %s, %s, %s)",
                [seq, field, salt, text],
            )
    return Appended(seq, at)


def _instant_of(cursor: Any, seq: int) -> Any:
    """When the entry was written, as the database gives it: asked again where PostgreSQL had to
    wait for the head, whose newest entry its first look could not see."""
    cursor.execute(_AT, [seq])
    row = cursor.fetchone()
    return row[0] if row else None


def _not_before(last: datetime | None) -> datetime:
    """The instant of the next entry, given that of the last one."""
    at = clock.now().astimezone(UTC)
    if last is None:
        return at
    # SQLite gives an instant without its zone, which is UTC.
    before = last if last.tzinfo else last.replace(tzinfo=UTC)
    if at >= before:
        return at
    if before - at > _CLOCKS_DIFFER:
        raise clock.ClockIsBehindError(
            f"the clock says {instant_text(at)}, the ledger's newest entry is of"
            f" {instant_text(before)}: set the computer's clock right"
        )
    return before.astimezone(UTC)


def canonical_body(
    *,
    seq: int,
    at: datetime,
    action: str,
    subject: str,
    dog: str,
    by: Actor,
    values: Mapping[str, Any],
    texts: Mapping[str, Any],
    reason_code: str,
) -> str:
    """The entry as RFC 8785 JSON text."""
    return canonical(
        {
            "action": action,
            "actor": by.subject_id,
            "at": instant_text(at),
            "dog": dog,
            "seq": seq,
            "subject": subject,
            "texts": dict(texts),
            "v": 1,
            "values": dict(values),
            "who": {
                "clinic": by.clinic_id,
                "request": by.request_id,
                "role": str(by.role) if by.role else "system",
                "token": by.token_id,
                "via": by.via,
            },
            "why": reason_code,
            "with": __version__,
        }
    )


def canonical(value: Mapping[str, Any]) -> str:
    """What ``plain`` allows as RFC 8785 JSON text.

    Without floats, and with ASCII member names, Python's own writer gives that form: names sorted,
    no space, the same escapes (section 3.2.2.2), text as it is. A test holds it to a library that
    implements the whole standard, which takes twelve times as long.
    """
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def instant_text(at: datetime) -> str:
    """An aware instant as UTC with microseconds, always 27 characters."""
    return at.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def chain_hash(prev_hash: str, body: str) -> str:
    """SHA-256 over the previous hash's 32 bytes and the body's UTF-8, as 64 hex digits."""
    return hashlib.sha256(bytes.fromhex(prev_hash) + body.encode()).hexdigest()


def commitment(salt: str, text: str) -> str:
    """SHA-256 over the salt's bytes and the text: says nothing without the 128-bit salt."""
    return hashlib.sha256(bytes.fromhex(salt) + text.encode()).hexdigest()


def plain(value: Any) -> Any:
    """A value as JSON can hold it exactly: decimals and dates as text, no floats."""
    if isinstance(value, Mapping):
        return {_member(str(key)): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int) and abs(value) <= _LARGEST:
        return int(value)
    if isinstance(value, datetime):
        return instant_text(value)
    # A TextChoices member is a str, but the canonical form must not depend on its class.
    if isinstance(value, str | date | Decimal):
        return str(value)
    raise TypeError(f"a ledger value cannot be {value!r}")


def _member(name: str) -> str:
    """A member's name: only of ASCII are Python's order and the standard's the same."""
    if not name.isascii():
        raise TypeError(f"a ledger member cannot be called {name!r}")
    return name


def _commit_to(
    field: str, text: str, texts: dict[str, tuple[str, str]], commitments: dict[str, Any]
) -> None:
    salt = secrets.token_hex(16)
    texts[field] = (salt, text)
    commitments[field] = commitment(salt, text)


def _store(
    cursor: Any,
    seq: int,
    at: datetime,
    action: str,
    subject: str,
    dog: str,
    actor: str,
    body: str,
    prev_hash: str,
    entry_hash: str,
) -> None:
    insert = (
        "INSERT INTO registry_ledgerentry"
        " (seq, at, action, subject, dog, actor, body, prev_hash, hash)"
        " VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s)"
    )
    update = "UPDATE registry_ledgerhead SET seq = %s, hash = %s WHERE id = 1"
    stored_at = connection.ops.adapt_datetimefield_value(at)
    row = [seq, stored_at, action, subject, dog, actor, body, prev_hash, entry_hash]
    if connection.vendor == "postgresql":
        # One round trip instead of two.
        cursor.execute(f"WITH entry AS ({insert}) {update}", [*row, seq, entry_hash])
    else:
        cursor.execute(insert, row)
        cursor.execute(update, [seq, entry_hash])
