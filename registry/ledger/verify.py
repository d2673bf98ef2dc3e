"""Walk the whole chain and say what is wrong: which entry, which field, which kind of damage.

What can be told apart: an edited column (it no longer agrees with the body), an edited body or hash
(the
neighbours decide which), entries missing, swapped or added, a cut tail (the head knows better), and
an
edited text (its commitment no longer fits). A rewrite of everything by somebody who can compute
hashes shows against the public tree and its checkpoints, and, when those were made anew as well,
against a checkpoint that somebody kept (``public_tree``).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context
from typing import Any

from django.db import connection, connections

from registry.ledger.append import GENESIS, commitment
from registry.ledger.damage import Damage
from registry.ledger.keys import verifier_keys
from registry.ledger.public_tree import Leaves, check_stored
from registry.ledger.tiles import WIDTH

_MIRRORED = ("action", "actor", "at", "dog", "seq", "subject")
_CHUNK = 5000
# From how many entries on a second process earns more than its start costs.
_LONG = 50_000
_ENDLESS = 2**62
_AT_POSTGRESQL = """to_char(at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')"""
_AT_SQLITE = "replace(at, ' ', 'T') || CASE WHEN length(at) = 19 THEN '.000000Z' ELSE 'Z' END"
# The mirrored keys sort first in canonical JSON, so the columns are compared as one beginning of
# the
# body, in the database: taking six more values of a million rows apart costs more than the hashes.
_BEGINNING = (
    """'{"action":"' || action || '","actor":"' || actor || '","at":"' || %s || '","dog":"'"""
    """ || dog || '","seq":' || seq || ',"subject":"' || subject || '",'"""
)
_FROM = " FROM registry_ledgerentry WHERE seq > %s AND seq <= %s ORDER BY seq LIMIT %s"
_NO_TEXTS = """'"texts":{}'"""
_ROWS_POSTGRESQL = (
    f"SELECT seq, body, prev_hash, hash, starts_with(body, {_BEGINNING % _AT_POSTGRESQL}),"
    f" strpos(body, {_NO_TEXTS}) > 0" + _FROM
)
_ROWS_SQLITE = (
    "SELECT seq, CAST(body AS BLOB), prev_hash, hash,"
    f" instr(body, {_BEGINNING % _AT_SQLITE}) = 1, instr(body, {_NO_TEXTS}) > 0" + _FROM
)
_WHOLE = "SELECT seq, {at}, action, subject, dog, actor, body, prev_hash, hash" + _FROM


@dataclass(frozen=True, slots=True)
class Verdict:
    """``entries`` were read; ``head`` is the last hash; the ledger is whole when ``damages`` is
    empty. ``leaves`` are those of the entries up to the first gap."""

    entries: int
    head: str
    found: int
    damages: list[Damage]
    leaves: Leaves = field(repr=False)

    @property
    def is_whole(self) -> bool:
        """Whether nothing is wrong."""
        return not self.found


class _Row:
    __slots__ = ("action", "actor", "at", "body", "dog", "hash", "prev_hash", "seq", "subject")

    def __init__(self, row: tuple[Any, ...]) -> None:
        (self.seq, self.at, self.action, self.subject, self.dog, self.actor) = row[:6]
        (self.body, self.prev_hash, self.hash) = row[6:]


@dataclass(frozen=True, slots=True)
class _Walked:
    """What one walk over a part of the chain saw; ``met`` holds the hash met at the head's
    number, ``leaves`` the part's entries up to its first gap."""

    count: int
    last_seq: int
    last_hash: str
    commitments: int
    met: str
    damages: list[Damage]
    leaves: Leaves
    has_gap: bool


def verify(
    *, most: int = 100, progress: Callable[[int], None] | None = None, processes: int = 1
) -> Verdict:
    """Read every entry once, in order, and check it; list at the most the first ``most``
    damages. The registry may go on appending meanwhile.

    More ``processes`` share a long chain between them, each with a connection of its own; only
    outside a transaction, whose rows another connection could not see.
    """
    head_before = _head()
    starts = _starts(processes, head_before[0] if head_before else 0)
    ends = [*(seq for seq, _hash in starts[1:]), None]
    head_seq = head_before[0] if head_before else -1
    parts = [(*start, end, head_seq) for start, end in zip(starts, ends, strict=True)]
    if len(parts) == 1:
        walks = [_walk(*parts[0], progress)]
    else:
        # A connection that two processes hold is broken for both.
        connections.close_all()
        with ProcessPoolExecutor(len(parts), mp_context=get_context("fork")) as pool:
            walks = [found.result() for found in [pool.submit(_walk, *part) for part in parts]]
    count = sum(walk.count for walk in walks)
    last = next((walk for walk in reversed(walks) if walk.count), walks[0])
    met = next((walk.met for walk in walks if walk.met), GENESIS)
    damages = [damage for walk in walks for damage in walk.damages]
    damages.extend(_check_head(head_before, met, last.last_seq))
    damages.extend(_check_texts(sum(walk.commitments for walk in walks)))
    leaves = _leaves(walks)
    damages.extend(check_stored(leaves, (_head() or (0, ""))[0], verifier_keys()))
    settled = sorted(set(damages), key=lambda damage: (damage.seq, damage.field, damage.kind))
    return Verdict(count, last.last_hash, len(settled), settled[:most], leaves)


def _leaves(walks: list[_Walked]) -> Leaves:
    """The leaves of all parts, up to the first gap."""
    parts = []
    for walk in walks:
        parts.append(walk.leaves)
        if walk.has_gap:
            break
    return Leaves.joined(parts)


def _starts(processes: int, entries: int) -> list[tuple[int, str]]:
    """After which entry (number and hash as stored) each process begins: where a full tile of the
    public tree ends."""
    starts = [(0, GENESIS)]
    if connection.in_atomic_block or entries < _LONG:
        return starts
    for part in range(1, processes):
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT seq, hash FROM registry_ledgerentry WHERE seq = %s",
                [entries * part // processes // WIDTH * WIDTH],
            )
            found = cursor.fetchone()
        if found and found[0] > starts[-1][0]:
            starts.append((found[0], found[1]))
    return starts


def _walk(
    previous_seq: int,
    previous_hash: str,
    until: int | None,
    head_seq: int,
    progress: Callable[[int], None] | None = None,
) -> _Walked:
    """Check the entries after ``previous_seq``, to ``until`` or to the end."""
    damages: list[Damage] = []
    leaves: list[bytes] = []
    count, commitments, met, has_gap = 0, 0, "", False
    digest = hashlib.sha256
    for chunk in _chunks(previous_seq or -1, until):
        for seq, stored, prev_hash, entry_hash, is_mirrored, has_no_texts in chunk:
            body = stored if isinstance(stored, bytes) else stored.encode()
            if (
                seq != previous_seq + 1
                or prev_hash != previous_hash
                or not is_mirrored
                or digest(_raw(previous_hash) + body).hexdigest() != entry_hash
            ):
                damages.extend(_explain(_whole_row(seq), previous_seq, previous_hash))
            has_gap = has_gap or seq != previous_seq + 1
            if not has_gap:
                leaves.append(digest(b"\x00" + body).digest())
            if not has_no_texts:
                commitments += _count_of_commitments(body.decode(errors="replace"))
            previous_seq, previous_hash = seq, entry_hash
            count += 1
            if seq == head_seq:
                met = entry_hash
        if progress:
            progress(count)
    return _Walked(
        count,
        previous_seq,
        previous_hash,
        commitments,
        met,
        damages,
        Leaves.over(leaves),
        # The next part's entries do not follow these when the last of these are missing.
        has_gap or previous_seq != (until or previous_seq),
    )


def _raw(hash_text: str) -> bytes:
    """The hash's 32 bytes; of an edited hash that is none, bytes that no entry fits."""
    try:
        return bytes.fromhex(hash_text)
    except ValueError:
        return b""


def _count_of_commitments(body: str) -> int:
    """How many texts the entry has. Field names and commitments need no escapes in JSON."""
    _, _, rest = body.partition('"texts":{')
    return rest.partition("}")[0].count('":"')


def _chunks(after: int = -1, until: int | None = None) -> Iterator[list[tuple[Any, ...]]]:
    """In order of seq: seq, body, prev_hash, hash, whether the columns fit the body, and whether
    the entry has no texts."""
    sql = _ROWS_POSTGRESQL if connection.vendor == "postgresql" else _ROWS_SQLITE
    last = _ENDLESS if until is None else until
    while True:
        with connection.cursor() as cursor:
            cursor.execute(sql, [after, last, _CHUNK])
            rows = cursor.fetchall()
        if not rows:
            return
        yield rows
        after = rows[-1][0]


def _whole_row(seq: int) -> _Row:
    """Every column of one entry, the instant as the body writes it."""
    at = _AT_POSTGRESQL if connection.vendor == "postgresql" else _AT_SQLITE
    with connection.cursor() as cursor:
        cursor.execute(_WHOLE.format(at=at), [seq - 1, seq, 1])
        return _Row(cursor.fetchone())


def _explain(row: _Row, previous_seq: int, previous_hash: str) -> Iterator[Damage]:
    """Every damage of one entry that did not pass."""
    if row.seq > previous_seq + 1:
        first, last = previous_seq + 1, row.seq - 1
        which = f"entry {first}" if first == last else f"entries {first} to {last}"
        yield Damage(first, "seq", "missing", f"{which} missing before entry {row.seq}")
    elif row.seq <= previous_seq:
        yield Damage(row.seq, "seq", "out of order", f"entry {row.seq} follows {previous_seq}")
    body = _parsed(row.body)
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


def _columns_against(row: _Row, body: dict[str, Any]) -> Iterator[Damage]:
    for name in _MIRRORED:
        if body.get(name) != getattr(row, name):
            yield _edited(row.seq, name)


def _edited(seq: int, field: str) -> Damage:
    return Damage(seq, field, "edited", f"entry {seq}: {field} was edited after it was written")


def _parsed(body: str | bytes) -> dict[str, Any] | None:
    try:
        value = json.loads(body)
    except ValueError:
        return None
    return value if isinstance(value, dict) else None


def _hash_of(prev_hash: str, body: str) -> str:
    try:
        return hashlib.sha256(bytes.fromhex(prev_hash) + body.encode()).hexdigest()
    except ValueError:
        return ""


def _is_next_linked(row: _Row) -> bool:
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


def _head() -> tuple[int, str] | None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT seq, hash FROM registry_ledgerhead WHERE id = 1")
        row = cursor.fetchone()
    return (row[0], row[1]) if row else None


def _check_head(before: tuple[int, str] | None, hash_at: str, last_seq: int) -> Iterator[Damage]:
    """The head as it was before the walk names an entry that was met with this hash; the last
    entry met is not beyond the head as it is now."""
    now = _head()
    if before is None or now is None:
        yield Damage(last_seq, "head", "missing", "the head row is missing")
    elif before[0] > last_seq:
        yield Damage(
            last_seq + 1,
            "seq",
            "tail cut",
            f"entries {last_seq + 1} to {before[0]} were cut off the end",
        )
    elif now[0] < last_seq:
        yield Damage(
            now[0] + 1, "seq", "added", f"entries after {now[0]} were not written by the registry"
        )
    elif before[1] != hash_at:
        yield Damage(
            before[0], "head", "edited", f"the head does not name entry {before[0]}'s hash"
        )


def _check_texts(commitments: int) -> Iterator[Damage]:
    """Texts that are not erased must fit the commitment in their entry's body, and all must be
    there."""
    count = 0
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT t.entry_id, t.field, t.salt, t.text, t.erased_at, e.body"
            " FROM registry_ledgertext t JOIN registry_ledgerentry e ON e.seq = t.entry_id"
            " ORDER BY t.id"
        )
        while rows := cursor.fetchmany(_CHUNK):
            count += len(rows)
            for seq, field, salt, text, erased_at, body in rows:
                if erased_at is not None and text == "":
                    continue
                if f'"{field}":"{_commitment_or_blank(salt, text)}"' not in body:
                    yield Damage(
                        seq,
                        f"text {field}",
                        "edited",
                        f"entry {seq}: the text of {field} was edited",
                    )
    if count != commitments:
        yield from _missing_texts()


def _missing_texts() -> Iterator[Damage]:
    """The slow way to the same numbers, taken only when they differ: which entry lacks which
    text."""
    for chunk in _chunks():
        wanted = {raw[0]: set((_parsed(raw[1]) or {}).get("texts", ())) for raw in chunk}
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT entry_id, field FROM registry_ledgertext WHERE entry_id BETWEEN %s AND %s",
                [chunk[0][0], chunk[-1][0]],
            )
            for seq, field in cursor.fetchall():
                wanted.get(seq, set()).discard(field)
        for seq, fields in wanted.items():
            for field in sorted(fields):
                yield Damage(
                    seq,
                    f"text {field}",
                    "missing",
                    f"entry {seq}: the text of {field} was removed",
                )


def _commitment_or_blank(salt: str, text: str) -> str:
    try:
        return commitment(salt, text)
    except ValueError:
        return "-"
