"""Walk the whole chain and say what is wrong: which entry, which field, which kind of damage.

What can be told apart: an edited column (it no longer agrees with the body), an edited body or hash
(the neighbours decide which), entries missing, swapped or added, a cut tail (the head knows
better), and an edited text (its commitment no longer fits). A rewrite of everything by somebody
who can compute hashes shows against the public tree and its checkpoints, and, when those were made
anew as well, against a checkpoint that somebody kept (``public_tree``).
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context

from django.db import connection, connections

from registry.ledger.append import GENESIS, commitment
from registry.ledger.damage import Damage
from registry.ledger.explanation import parsed
from registry.ledger.keys import verifier_keys
from registry.ledger.public_tree import Leaves, check_stored
from registry.ledger.tiles import WIDTH
from registry.ledger.walk import Walked, chunks, walk

# From how many entries on a second process earns more than its start costs.
_LONG = 50_000
_TEXTS_AT_ONCE = 5000


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
    walks = _walks(parts, progress)
    count = sum(part.count for part in walks)
    last = next((part for part in reversed(walks) if part.count), walks[0])
    met = next((part.met for part in walks if part.met), GENESIS)
    damages = [damage for part in walks for damage in part.damages]
    damages.extend(_check_head(head_before, met, last.last_seq))
    damages.extend(_check_texts(sum(part.commitments for part in walks)))
    leaves = _leaves(walks)
    damages.extend(check_stored(leaves, (_head() or (0, ""))[0], verifier_keys()))
    settled = sorted(set(damages), key=lambda damage: (damage.seq, damage.field, damage.kind))
    return Verdict(count, last.last_hash, len(settled), settled[:most], leaves)


def _walks(
    parts: list[tuple[int, str, int | None, int]], progress: Callable[[int], None] | None
) -> list[Walked]:
    """Walk the first part here, and each other in a process of its own."""
    if len(parts) == 1:
        return [walk(*parts[0], progress)]
    # A connection that two processes hold is broken for both.
    connections.close_all()
    with ProcessPoolExecutor(
        len(parts) - 1,
        mp_context=get_context("fork"),
        # Looking for garbage would copy all memory that is shared with the parent.
        initializer=gc.freeze,
    ) as pool:
        others = [pool.submit(walk, *part) for part in parts[1:]]
        return [walk(*parts[0], progress), *(other.result() for other in others)]


def _leaves(walks: list[Walked]) -> Leaves:
    """The leaves of all parts, up to the first gap."""
    parts = []
    for part in walks:
        parts.append(part.leaves)
        if part.has_gap:
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
        while rows := cursor.fetchmany(_TEXTS_AT_ONCE):
            count += len(rows)
            for seq, field, salt, text, erased_at, body in rows:
                if erased_at is not None and text == "":
                    continue
                if f'"{field}":"{_commitment_or_blank(salt, text)}"' not in str(body):
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
    for chunk in chunks():
        wanted = {raw[0]: set((parsed(raw[1]) or {}).get("texts", ())) for raw in chunk}
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
    except (AttributeError, TypeError, ValueError):
        return "-"
