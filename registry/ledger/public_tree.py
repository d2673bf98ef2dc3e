"""Compare the entries with what was said of them before: the stored tiles, the checkpoints the
registry signed, and checkpoints that somebody else kept.

The chain alone cannot show that it was written anew from some entry on, every hash fitting. A
checkpoint that left the server can.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from registry.ledger import tree
from registry.ledger.checkpoints import Checkpoint, NoteProblem, VerifierKey, open_note
from registry.ledger.damage import Damage
from registry.ledger.tiles import HASH_BYTES, HEIGHT, WIDTH, folded, split
from registry.models import LedgerTile, LogCheckpoint


@dataclass(frozen=True, slots=True)
class Leaves:
    """The leaf hashes of entries 1 to ``len``, end to end, and the roots of their full tiles."""

    hashes: bytes
    roots: bytes

    @classmethod
    def over(cls, leaves: Sequence[bytes]) -> Leaves:
        """The leaves of entries that begin with number 1, or right after a full tile."""
        full = len(leaves) >> HEIGHT
        roots = (folded(leaves[at * WIDTH : (at + 1) * WIDTH]) for at in range(full))
        return cls(b"".join(leaves), b"".join(roots))

    @classmethod
    def joined(cls, parts: Sequence[Leaves]) -> Leaves:
        """Parts in their order; all but the last hold full tiles only."""
        return cls(b"".join(part.hashes for part in parts), b"".join(part.roots for part in parts))

    def __len__(self) -> int:
        return len(self.hashes) // HASH_BYTES

    def leaf(self, seq: int) -> bytes:
        """The leaf hash of entry ``seq`` (from 1)."""
        return self.hashes[(seq - 1) * HASH_BYTES : seq * HASH_BYTES]

    def tile(self, level: int, index: int) -> bytes | None:
        """What a tile of the two lowest levels should hold; None for one above them, and for one
        that the leaves do not fill."""
        if level > 1 or len(self) >> HEIGHT * (level + 1) <= index:
            return None
        row = (self.hashes, self.roots)[level]
        return row[index * WIDTH * HASH_BYTES : (index + 1) * WIDTH * HASH_BYTES]

    def nodes(self) -> tree.Nodes:
        """The complete subtrees over these leaves."""
        above = tree.nodes_over(split(self.roots))

        def node(level: int, index: int) -> bytes:
            if level >= HEIGHT:
                return above(level - HEIGHT, index)
            start = (index << level) * HASH_BYTES
            return folded(split(self.hashes[start : start + (HASH_BYTES << level)]))

        return node


def check_stored(leaves: Leaves, head_seq: int, keys: list[VerifierKey]) -> Iterator[Damage]:
    """Hold the stored tiles and the registry's own checkpoints against the entries' leaves.

    ``head_seq`` is the ledger's last number as of now: what lies between the leaves and it was
    appended after they were read.
    """
    nodes = leaves.nodes()
    for tile in LedgerTile.objects.order_by("level", "index").iterator(chunk_size=200):
        yield from _check_tile(tile, leaves, nodes, head_seq)
    for stored in LogCheckpoint.objects.all():
        yield from _check_own(stored, leaves, nodes, head_seq, keys)


def compare(
    leaves: Leaves, kept: Sequence[Checkpoint], saved: Mapping[int, bytes]
) -> Iterator[Damage]:
    """Hold checkpoints that somebody kept against the entries; ``saved`` are leaf hashes kept with
    them, by entry.

    One damage at the most: from which entry on the history differs, as exactly as what was kept
    can tell.
    """
    nodes, agreed = leaves.nodes(), 0
    for checkpoint in sorted(kept, key=lambda each: each.size):
        if checkpoint.size <= len(leaves) and tree.root(nodes, checkpoint.size) == checkpoint.root:
            agreed = checkpoint.size
            continue
        end = min(checkpoint.size, len(leaves))
        for seq in range(agreed + 1, end + 1):
            if seq in saved and saved[seq] != leaves.leaf(seq):
                yield _rewritten(seq, f"entry {seq} is not the one that was there", checkpoint)
                return
        if checkpoint.size > len(leaves):
            first = len(leaves) + 1
            text = f"entries {first} to {checkpoint.size} were there and are gone"
            yield Damage(first, "history", "tail cut", text)
            return
        text = f"history differs from entry {agreed + 1} on, or from a later one up to {end}"
        yield _rewritten(agreed + 1, text, checkpoint)
        return


def _rewritten(seq: int, text: str, checkpoint: Checkpoint) -> Damage:
    text += f" when the checkpoint of {checkpoint.size} entries was signed"
    return Damage(seq, "history", "rewritten", text)


def _check_tile(
    tile: LedgerTile, leaves: Leaves, nodes: tree.Nodes, head_seq: int
) -> Iterator[Damage]:
    """Each hash of one tile against the leaves below it."""
    # SQLite lets an edit leave a text or a number there.
    hashes = tile.hashes if isinstance(tile.hashes, bytes | memoryview) else b""
    if bytes(hashes) == leaves.tile(tile.level, tile.index):
        return
    if len(hashes) != WIDTH * HASH_BYTES:
        text = f"tile {tile.index} of level {tile.level} of the public tree is not whole"
        first = (tile.index << HEIGHT * (tile.level + 1)) + 1
        yield Damage(first, "tree", "edited", text)
        return
    for place, stored in enumerate(split(hashes), start=tile.index << HEIGHT):
        last = (place + 1) << (tile.level * HEIGHT)
        first = last - (1 << (tile.level * HEIGHT)) + 1
        if last > len(leaves):
            if last > head_seq:
                text = f"the public tree knows entries up to {last}, which are gone"
                yield Damage(max(first, len(leaves) + 1), "tree", "tail cut", text)
                return
        elif nodes(tile.level * HEIGHT, place) != stored:
            which = f"entry {first}" if first == last else f"entries {first} to {last}"
            text = f"{which}: not what the public tree was made of"
            yield Damage(first, "tree", "edited", text)


def _check_own(
    stored: LogCheckpoint,
    leaves: Leaves,
    nodes: tree.Nodes,
    head_seq: int,
    keys: list[VerifierKey],
) -> Iterator[Damage]:
    """One checkpoint as the registry keeps it: its signature, its columns, its tree."""
    try:
        stated = Checkpoint.parse(open_note(stored.note, keys))
    except (NoteProblem, TypeError) as problem:
        text = f"the checkpoint of {stored.size} entries cannot be believed: {problem}"
        yield Damage(stored.size, "checkpoint", "edited", text)
        return
    if (stated.size, stated.root.hex()) != (stored.size, stored.root):
        text = f"the checkpoint of {stored.size} entries does not say what its columns say"
        yield Damage(stored.size, "checkpoint", "edited", text)
    elif stated.size > len(leaves):
        if stated.size > head_seq:
            text = f"a checkpoint was signed for {stated.size} entries; the last of them are gone"
            yield Damage(len(leaves) + 1, "checkpoint", "tail cut", text)
    elif tree.root(nodes, stated.size) != stated.root:
        text = f"the entries up to {stated.size} are not those their checkpoint was signed for"
        yield Damage(stated.size, "checkpoint", "rewritten", text)
