"""The Merkle tree over the ledger's entries: RFC 9162 section 2.1, SHA-256. Pure arithmetic.

Whoever uses it says where hashes come from: a ``Nodes`` answers the hash of any complete subtree,
so that a proof reads a handful of them and not the whole ledger. What is stored, signed and
published stands in the modules beside this one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence

Nodes = Callable[[int, int], bytes]
"""``nodes(level, index)``: the hash of the ``index``-th complete subtree of ``2 ** level``
leaves."""

_sha256 = hashlib.sha256
EMPTY_ROOT = hashlib.sha256(b"").digest()


def leaf_hash(entry: bytes) -> bytes:
    """The hash of one entry's bytes as a leaf (section 2.1.1)."""
    return hashlib.sha256(b"\x00" + entry).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash of two subtrees side by side (section 2.1.1)."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def level_above(hashes: Sequence[bytes]) -> list[bytes]:
    """The node hash of each two neighbours; one that is left over at the end is left out."""
    each = iter(hashes)
    # ``node_hash`` written out: over a million entries the calls would cost more than the hashes.
    pairs = zip(each, each, strict=False)
    return [_sha256(b"\x01" + left + right).digest() for left, right in pairs]


def nodes_over(leaves: Sequence[bytes]) -> Nodes:
    """Complete subtrees over leaf hashes that lie in memory."""
    levels = [list(leaves)]
    while len(levels[-1]) > 1:
        levels.append(level_above(levels[-1]))
    return lambda level, index: levels[level][index]


def root(nodes: Nodes, size: int) -> bytes:
    """The tree's root over the first ``size`` leaves."""
    return _hash_of(nodes, 0, size) if size else EMPTY_ROOT


def inclusion_path(nodes: Nodes, index: int, size: int) -> list[bytes]:
    """The audit path of leaf ``index`` (from 0) in a tree of ``size`` leaves (section 2.1.3.1)."""
    if not 0 <= index < size:
        raise ValueError(f"leaf {index} is not in a tree of {size}")
    path: list[bytes] = []
    start, end = 0, size
    while end - start > 1:
        middle = start + _largest_power_below(end - start)
        if index < middle:
            path.append(_hash_of(nodes, middle, end))
            end = middle
        else:
            path.append(_hash_of(nodes, start, middle))
            start = middle
    return path[::-1]


def consistency_path(nodes: Nodes, old_size: int, size: int) -> list[bytes]:
    """The proof that the tree of ``size`` leaves continues that of ``old_size`` (section
    2.1.4.1)."""
    if not 0 < old_size <= size:
        raise ValueError(f"a tree of {size} cannot continue one of {old_size}")
    path: list[bytes] = []
    start, end, is_whole = 0, size, True
    while old_size != end:
        middle = start + _largest_power_below(end - start)
        if old_size <= middle:
            path.append(_hash_of(nodes, middle, end))
            end = middle
        else:
            path.append(_hash_of(nodes, start, middle))
            start, is_whole = middle, False
    return ([] if is_whole else [_hash_of(nodes, start, end)]) + path[::-1]


def is_included(
    leaf: bytes, index: int, size: int, path: Sequence[bytes], tree_root: bytes
) -> bool:
    """Whether the path leads from the leaf to the root (section 2.1.3.2)."""
    if not 0 <= index < size:
        return False
    at, last, found = index, size - 1, leaf
    for other in path:
        if last == 0:
            return False
        if at & 1 or at == last:
            found = node_hash(other, found)
            while not at & 1 and at:
                at, last = at >> 1, last >> 1
        else:
            found = node_hash(found, other)
        at, last = at >> 1, last >> 1
    return last == 0 and found == tree_root


def is_continued(
    old_size: int, old_root: bytes, size: int, tree_root: bytes, path: Sequence[bytes]
) -> bool:
    """Whether the path shows the larger tree to continue the smaller one (section 2.1.4.2)."""
    if not 0 < old_size <= size:
        return False
    if old_size == size:
        return not path and old_root == tree_root
    steps = list(path)
    if old_size & (old_size - 1) == 0:
        steps.insert(0, old_root)
    if not steps:
        return False
    at, last = old_size - 1, size - 1
    while at & 1:
        at, last = at >> 1, last >> 1
    old_found = found = steps[0]
    for other in steps[1:]:
        if last == 0:
            return False
        if at & 1 or at == last:
            old_found, found = node_hash(other, old_found), node_hash(other, found)
            while not at & 1 and at:
                at, last = at >> 1, last >> 1
        else:
            found = node_hash(found, other)
        at, last = at >> 1, last >> 1
    return last == 0 and old_found == old_root and found == tree_root


def _hash_of(nodes: Nodes, start: int, end: int) -> bytes:
    """The hash of the leaves from ``start`` to before ``end``; ``start`` is where a subtree
    begins."""
    parts = list(_complete(nodes, start, end))
    found = parts.pop()
    while parts:
        found = node_hash(parts.pop(), found)
    return found


def _complete(nodes: Nodes, start: int, end: int) -> Iterator[bytes]:
    """The largest complete subtrees that make up the leaves, from the left."""
    while start < end:
        level = (end - start).bit_length() - 1
        yield nodes(level, start >> level)
        start += 1 << level


def _largest_power_below(count: int) -> int:
    """The largest power of two smaller than ``count`` (> 1)."""
    return 1 << ((count - 1).bit_length() - 1)
