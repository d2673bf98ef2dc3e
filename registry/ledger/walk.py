"""Walk over a part of the chain: whether each entry continues the one before, and the leaves of
the public tree. What is wrong with an entry that does not pass is for ``explanation`` to say.

A chunk that is in order is seen to be so in a few comparisons of all its entries together: an
entry is judged by itself only where one of them failed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db import connection

from registry.ledger.damage import Damage
from registry.ledger.explanation import AT, explain, whole_row
from registry.ledger.public_tree import Leaves

# Small enough for a chunk's bodies to stay in the processor's cache.
_CHUNK = 2000
_ENDLESS = 2**62
_MAPPED_BYTES = 2**31
# The mirrored keys sort first in canonical JSON, so the columns are compared as one beginning of
# the body, in the database: taking six more values of a million rows apart costs more than the
# hashes. A column that is not text is compared as if it were; as JSON a blob would be an error.
_BEGINS = {
    "postgresql": (
        """starts_with(body, '{{"action":"' || action || '","actor":"' || actor || '","at":"' ||"""
        """ {at} || '","dog":"' || dog || '","seq":' || seq || ',"subject":"' || subject ||"""
        """ '",{more}')"""
    ),
    "sqlite": (
        "instr(body, rtrim(json_object('action', CAST(action AS TEXT),"
        " 'actor', CAST(actor AS TEXT), 'at', {at}, 'dog', CAST(dog AS TEXT), 'seq', seq,"
        " 'subject', CAST(subject AS TEXT)), '}}') || ',{more}') = 1"
    ),
}
_NO_TEXTS = '"texts":{},'
_FROM = " FROM registry_ledgerentry WHERE seq > %s AND seq <= %s ORDER BY seq LIMIT %s"


def _rows(vendor: str, body: str) -> str:
    """The query of a chunk: seq, body, prev_hash, hash, and how the columns fit the body: 0 if they
    do not, 1 if they do, 2 if they do and the entry has no texts."""
    begins = _BEGINS[vendor].format(at=AT[vendor], more="")
    without_texts = _BEGINS[vendor].format(at=AT[vendor], more=_NO_TEXTS)
    fits = f"CASE WHEN {without_texts} THEN 2 WHEN {begins} THEN 1 ELSE 0 END"
    return f"SELECT seq, {body}, prev_hash, hash, {fits}{_FROM}"


_ROWS = {
    "postgresql": _rows("postgresql", "body"),
    "sqlite": _rows("sqlite", "CAST(body AS BLOB)"),
}
_FIT_WITHOUT_TEXTS = 2

Rows = list[tuple[Any, ...]]
_digest = hashlib.sha256


@dataclass(slots=True)
class Walked:
    """What one walk over a part of the chain has seen; ``met`` holds the hash met at the head's
    number, ``leaves`` the part's entries up to its first gap."""

    last_seq: int
    last_hash: str
    damages: list[Damage]
    leaves: Leaves
    count: int = 0
    commitments: int = 0
    met: str = ""
    has_gap: bool = False


def walk(
    previous_seq: int,
    previous_hash: str,
    until: int | None,
    head_seq: int,
    progress: Callable[[int], None] | None = None,
) -> Walked:
    """Check the entries after ``previous_seq``, to ``until`` or to the end."""
    seen = Walked(previous_seq, previous_hash, [], Leaves(b"", b""))
    leaves: list[bytes] = []
    for rows in _mapped(chunks(previous_seq or -1, until)):
        bodies = _bodies(rows)
        if not _is_in_order(rows, bodies, seen):
            _judge_each(rows, bodies, seen, leaves)
        elif not seen.has_gap:
            leaves += [_digest(b"\x00" + body).digest() for body in bodies]
        seen.commitments += sum(
            _count_of_commitments(body)
            for body, row in zip(bodies, rows, strict=True)
            if row[4] != _FIT_WITHOUT_TEXTS
        )
        if rows[0][0] <= head_seq <= rows[-1][0]:
            seen.met = next((row[3] for row in rows if row[0] == head_seq), seen.met)
        seen.last_seq, seen.last_hash = rows[-1][0], rows[-1][3]
        seen.count += len(rows)
        if progress:
            progress(seen.count)
    # The next part's entries do not follow these when the last of these are missing.
    seen.has_gap = seen.has_gap or seen.last_seq != (until or seen.last_seq)
    seen.leaves = Leaves.over(leaves)
    return seen


def chunks(after: int = -1, until: int | None = None) -> Iterator[Rows]:
    """In order of seq: seq, body, prev_hash, hash, and how the columns fit the body."""
    last = _ENDLESS if until is None else until
    while True:
        with connection.cursor() as cursor:
            cursor.execute(_ROWS[connection.vendor], [after, last, _CHUNK])
            rows = cursor.fetchall()
        if not rows:
            return
        yield rows
        after = rows[-1][0]


def _mapped(found: Iterator[Rows]) -> Iterator[Rows]:
    """The chunks, with SQLite's file mapped into memory while they are read: copying each page
    would take a tenth of the whole time."""
    if connection.vendor != "sqlite":
        yield from found
        return
    _map(_MAPPED_BYTES)
    try:
        yield from found
    finally:
        _map(0)


def _map(size: int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA mmap_size = {size}")


def _bodies(rows: Rows) -> list[bytes]:
    """The bodies of a chunk in UTF-8: of SQLite they come as bytes, of PostgreSQL as text."""
    bodies = [row[1] for row in rows]
    return bodies if connection.vendor == "sqlite" else list(map(str.encode, bodies))


def _is_in_order(rows: Rows, bodies: list[bytes], before: Walked) -> bool:
    """Whether nothing is wrong with any entry of the chunk."""
    hashes = [row[3] for row in rows]
    # Numbers are unique and ascend, so that none is missing when the last one is as far as it is.
    if (
        rows[0][0] != before.last_seq + 1
        or rows[-1][0] != before.last_seq + len(rows)
        or [row[2] for row in rows] != [before.last_hash, *hashes[:-1]]
        or not all(row[4] for row in rows)
    ):
        return False
    # That the hashes continue one another is shown; so each can be made from the one just made.
    chained, made = _raw(before.last_hash), []
    for body in bodies:
        chained = _digest(chained + body).digest()
        made.append(chained)
    return list(map(bytes.hex, made)) == hashes


def _judge_each(rows: Rows, bodies: list[bytes], before: Walked, leaves: list[bytes]) -> None:
    """Add what is wrong with each entry of the chunk, and the leaves up to the first gap."""
    previous_seq, previous_hash = before.last_seq, before.last_hash
    for (seq, _body, prev_hash, entry_hash, fit), body in zip(rows, bodies, strict=True):
        if (
            seq != previous_seq + 1
            or prev_hash != previous_hash
            or not fit
            or _digest(_raw(previous_hash) + body).hexdigest() != entry_hash
        ):
            before.damages.extend(explain(whole_row(seq), previous_seq, previous_hash))
        before.has_gap = before.has_gap or seq != previous_seq + 1
        if not before.has_gap:
            leaves.append(_digest(b"\x00" + body).digest())
        previous_seq, previous_hash = seq, entry_hash


def _raw(hash_text: str) -> bytes:
    """The hash's 32 bytes; of an edited hash that is none, bytes that no entry fits."""
    try:
        return bytes.fromhex(hash_text)
    except (TypeError, ValueError):
        return b""


def _count_of_commitments(body: bytes) -> int:
    """How many texts the entry has. Field names and commitments need no escapes in JSON."""
    _, _, rest = body.partition(b'"texts":{')
    return rest.partition(b"}")[0].count(b'":"')
