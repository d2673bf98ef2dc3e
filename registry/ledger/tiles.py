"""The ledger's tree as stored: tiles of 256 hashes, written once they are full.

An append does not touch the tree. A leaf is the hash of an entry's body, so everything here can be
made anew from the entries; the tiles only spare a proof from reading them all. What is not yet in a
full tile is hashed from the bodies when it is asked for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from django.db import connection

from registry.ledger.tree import Nodes, leaf_hash, level_above
from registry.models import LedgerTile

HEIGHT = 8
WIDTH = 1 << HEIGHT
HASH_BYTES = 32
_BODIES = "SELECT body FROM registry_ledgerentry WHERE seq > %s AND seq <= %s ORDER BY seq"


def fill_tiles(size: int) -> int:
    """Store every full tile of the tree of ``size`` leaves that is not there yet; how many these
    were."""
    written = 0
    level, full = 0, size >> HEIGHT
    while full:
        begun = LedgerTile.objects.filter(level=level).count()
        tiles = [
            LedgerTile(level=level, index=index, hashes=b"".join(_contents(level, index)))
            for index in range(begun, full)
        ]
        # Another process at the same work writes the same bytes.
        LedgerTile.objects.bulk_create(tiles, batch_size=200, ignore_conflicts=True)
        written += len(tiles)
        level, full = level + 1, full >> HEIGHT
    return written


def stored_nodes() -> Nodes:
    """The tree's complete subtrees, read from tiles and, at the right edge, from the entries."""
    remembered: dict[tuple[int, int], tuple[bytes, ...]] = {}

    def node(level: int, index: int) -> bytes:
        tile_level, above = divmod(level, HEIGHT)
        first = index << above
        place = (tile_level, first >> HEIGHT)
        if place not in remembered:
            remembered[place] = _hashes(*place)
        start = first % WIDTH
        return folded(remembered[place][start : start + (1 << above)])

    return node


def leaves(after: int, until: int) -> Iterator[bytes]:
    """The leaf hashes of the entries with numbers in (after, until], from their bodies."""
    with connection.cursor() as cursor:
        cursor.execute(_BODIES, [after, until])
        while rows := cursor.fetchmany(5000):
            for (body,) in rows:
                yield leaf_hash(body if isinstance(body, bytes) else body.encode())


def folded(hashes: Sequence[bytes]) -> bytes:
    """The root over a power of two of neighbouring subtrees."""
    row = hashes
    while len(row) > 1:
        row = level_above(row)
    return row[0]


def split(hashes: bytes | memoryview) -> tuple[bytes, ...]:
    """A tile's bytes as hashes."""
    raw = bytes(hashes)
    return tuple(raw[at : at + HASH_BYTES] for at in range(0, len(raw), HASH_BYTES))


def _hashes(level: int, index: int) -> tuple[bytes, ...]:
    """The hashes of one tile as far as it goes, full or not."""
    stored = LedgerTile.objects.filter(level=level, index=index).values_list("hashes", flat=True)
    found = stored.first()
    return split(found) if found is not None else tuple(_contents(level, index))


def _contents(level: int, index: int) -> Iterator[bytes]:
    """The hashes of one tile from what lies below it: entries, or the tiles of the level below."""
    start = index << HEIGHT
    if level == 0:
        yield from leaves(start, start + WIDTH)
        return
    below = LedgerTile.objects.filter(
        level=level - 1, index__gte=start, index__lt=start + WIDTH
    ).order_by("index")
    for hashes in below.values_list("hashes", flat=True).iterator():
        yield folded(split(hashes))
