"""Say what is wrong with an entry that did not pass: which field, and which kind of damage.

An edited column no longer agrees with the body; whether a body or a hash was edited the neighbours
decide.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any

from django.db import connection

from registry.ledger.damage import Damage

AT = {
    "postgresql": """to_char(at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')""",
    "sqlite": "replace(at, ' ', 'T') || CASE WHEN length(at) = 19 THEN '.000000Z' ELSE 'Z' END",
}
"""The instant's column as the body writes it, by database."""
_MIRRORED = ("action", "actor", "at", "dog", "seq", "subject")
_WHOLE = (
    "SELECT seq, {at}, action, subject, dog, actor, body, prev_hash, hash"
    " FROM registry_ledgerentry WHERE seq = %s"
)


class Row:
    """One entry, column by column."""

    __slots__ = ("action", "actor", "at", "body", "dog", "hash", "prev_hash", "seq", "subject")

    def __init__(self, row: tuple[Any, ...]) -> None:
        (self.seq, self.at, self.action, self.subject, self.dog, self.actor) = row[:6]
        (self.body, self.prev_hash, self.hash) = row[6:]


def whole_row(seq: int) -> Row:
    """Every column of one entry, the instant as the body writes it."""
    with connection.cursor() as cursor:
        cursor.execute(_WHOLE.format(at=AT[connection.vendor]), [seq])
        return Row(cursor.fetchone())


def explain(row: Row, previous_seq: int, previous_hash: str) -> Iterator[Damage]:
    """Every damage of one entry that did not pass."""
    if row.seq > previous_seq + 1:
        first, last = previous_seq + 1, row.seq - 1
        which = f"entry {first}" if first == last else f"entries {first} to {last}"
        yield Damage(first, "seq", "missing", f"{which} missing before entry {row.seq}")
    elif row.seq <= previous_seq:
        yield Damage(row.seq, "seq", "out of order", f"entry {row.seq} follows {previous_seq}")
    body = parsed(row.body)
    if body is None:
        yield Damage(row.seq, "body", "unreadable", f"entry {row.seq}: the body is not JSON")
    else:
        yield from _columns_against(row, body)
    fits_own = _hash_of(row.prev_hash, row.body) == row.hash
    if not fits_own:
        if _hash_of(previous_hash, row.body) == row.hash:
            yield _edited(row.seq, "prev_hash")
        elif _is_next_linked(row):
            # The next entry names this hash, so the hash stood when it was written: the body moved.
            yield _edited(row.seq, "body")
        else:
            yield _edited(row.seq, "hash")
    elif row.prev_hash != previous_hash and row.seq == previous_seq + 1:
        yield Damage(
            row.seq,
            "prev_hash",
            "edited",
            f"entry {row.seq} does not continue entry {previous_seq}: one of the two was rewritten",
        )


def _columns_against(row: Row, body: dict[str, Any]) -> Iterator[Damage]:
    for name in _MIRRORED:
        if body.get(name) != getattr(row, name):
            yield _edited(row.seq, name)


def _edited(seq: int, field: str) -> Damage:
    return Damage(seq, field, "edited", f"entry {seq}: {field} was edited after it was written")


def parsed(body: str | bytes) -> dict[str, Any] | None:
    """The body as JSON; None when it is none."""
    try:
        value = json.loads(body)
    except ValueError:
        return None
    return value if isinstance(value, dict) else None


def _hash_of(prev_hash: str, body: str | bytes) -> str:
    raw = body.encode() if isinstance(body, str) else body
    try:
        return hashlib.sha256(bytes.fromhex(prev_hash) + raw).hexdigest()
    except (TypeError, ValueError):
        # An edited hash that is none, or on SQLite not even a text.
        return ""


def _is_next_linked(row: Row) -> bool:
    """Whether the following entry (or the head, for the last one) names this entry's stored
    hash."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT prev_hash FROM registry_ledgerentry WHERE seq > %s ORDER BY seq LIMIT 1",
            [row.seq],
        )
        following = cursor.fetchone()
        if following is None:
            cursor.execute("SELECT hash FROM registry_ledgerhead WHERE id = 1")
            following = cursor.fetchone()
    return following is not None and following[0] == row.hash
