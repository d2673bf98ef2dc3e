"""What everybody may read of the ledger: the last checkpoint, and proofs of place and growth.

An entry's words stay inside; its leaf is a hash that says nothing without them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from registry.ledger import tree
from registry.ledger.keys import signer, verifier_keys
from registry.ledger.tiles import leaves, stored_nodes
from registry.models import LedgerEntry, LogCheckpoint


@dataclass(frozen=True, slots=True)
class PublicLog:
    """The log by name and keys, with its last checkpoint; None before the first."""

    origin: str
    verifier_key: str
    former_keys: tuple[str, ...]
    checkpoint: PublicCheckpoint | None


@dataclass(frozen=True, slots=True)
class PublicCheckpoint:
    """A signed statement: ``size`` entries, and the root of their tree in 32 bytes."""

    size: int
    root: bytes
    note: str
    made_at: datetime


@dataclass(frozen=True, slots=True)
class InclusionProof:
    """Entry ``entry`` (from 1) with its leaf hash, in the tree of ``size`` entries."""

    entry: int
    size: int
    leaf: bytes
    path: tuple[bytes, ...]


@dataclass(frozen=True, slots=True)
class ConsistencyProof:
    """The tree of ``size`` entries continues that of ``old_size``."""

    old_size: int
    size: int
    path: tuple[bytes, ...]


@dataclass(frozen=True, slots=True)
class SealedIssue:
    """The line of the log that issued a certificate, number ``entry``: its text, and the path to
    the root of the first checkpoint over it, of ``size`` lines."""

    entry: int
    body: str
    size: int
    root: bytes
    path: tuple[bytes, ...]
    note: str
    sealed_at: datetime


class NotInLogError(LookupError):
    """The entry or size asked for is beyond the last checkpoint, or none."""


def public_log() -> PublicLog:
    """The log as of now: one query."""
    current, *former = verifier_keys()
    stored = LogCheckpoint.objects.last()
    return PublicLog(
        origin=signer().name,
        verifier_key=current.text,
        former_keys=tuple(key.text for key in former),
        checkpoint=PublicCheckpoint(
            stored.size, bytes.fromhex(stored.root), stored.note, stored.made_at
        )
        if stored
        else None,
    )


def inclusion_proof(entry: int, size: int | None = None) -> InclusionProof:
    """That the entry is in the tree of ``size`` entries, by default that of the last checkpoint.

    Raises NotInLogError.
    """
    size = _size(size)
    if not 1 <= entry <= size:
        raise NotInLogError
    path = tree.inclusion_path(stored_nodes(), entry - 1, size)
    (leaf,) = leaves(entry - 1, entry)
    return InclusionProof(entry, size, leaf, tuple(path))


def consistency_proof(old_size: int, size: int | None = None) -> ConsistencyProof:
    """That the tree of ``size`` entries (the last checkpoint's) continues the older one.

    Raises NotInLogError.
    """
    size = _size(size)
    if not 1 <= old_size <= size:
        raise NotInLogError
    return ConsistencyProof(
        old_size, size, tuple(tree.consistency_path(stored_nodes(), old_size, size))
    )


def sealed_issue(*, dog_id: str, number: str) -> SealedIssue | None:
    """The line that issued the dog's certificate ``number``; None until it was sealed."""
    entry = LedgerEntry.objects.filter(
        dog=dog_id, body__contains=f'"certificate":{{"from":null,"to":"{number}"}}'
    ).first()
    if entry is None:
        return None
    first = LogCheckpoint.objects.filter(size__gte=entry.seq).first()
    if first is None:
        return None
    return SealedIssue(
        entry=entry.seq,
        body=entry.body,
        size=first.size,
        root=bytes.fromhex(first.root),
        path=tuple(tree.inclusion_path(stored_nodes(), entry.seq - 1, first.size)),
        note=first.note,
        sealed_at=first.made_at,
    )


def _size(asked: int | None) -> int:
    """The tree's size to prove for: what was asked, within what was signed."""
    signed = LogCheckpoint.objects.values_list("size", flat=True).last()
    if signed is None or (asked is not None and not 1 <= asked <= signed):
        raise NotInLogError
    return asked or signed
