"""Proofs over trees of every small size lead where they should, and nowhere else."""

from __future__ import annotations

import pytest

from registry.ledger import tree

MOST = 40
LEAVES = [tree.leaf_hash(f"entry {number}".encode()) for number in range(MOST)]
NODES = tree.nodes_over(LEAVES)


def test_a_root_follows_the_definition() -> None:
    def defined(leaves: list[bytes]) -> bytes:
        if len(leaves) == 1:
            return leaves[0]
        middle = 1
        while middle * 2 < len(leaves):
            middle *= 2
        return tree.node_hash(defined(leaves[:middle]), defined(leaves[middle:]))

    for size in range(1, MOST + 1):
        assert tree.root(NODES, size) == defined(LEAVES[:size])


def test_every_leaf_is_shown_to_be_in_every_tree() -> None:
    for size in range(1, MOST + 1):
        root = tree.root(NODES, size)
        for index in range(size):
            path = tree.inclusion_path(NODES, index, size)

            assert tree.is_included(LEAVES[index], index, size, path, root)


def test_a_changed_path_shows_nothing() -> None:
    size, index = 37, 21
    root = tree.root(NODES, size)
    path = tree.inclusion_path(NODES, index, size)

    for at, step in enumerate(path):
        bent = [*path[:at], bytes([step[0] ^ 1]) + step[1:], *path[at + 1 :]]
        assert not tree.is_included(LEAVES[index], index, size, bent, root)
    assert not tree.is_included(LEAVES[index], index + 1, size, path, root)
    assert not tree.is_included(LEAVES[index + 1], index, size, path, root)
    assert not tree.is_included(LEAVES[index], index, size, path[:-1], root)
    assert not tree.is_included(LEAVES[index], index, size, [*path, path[0]], root)


def test_every_growth_is_shown_to_be_one() -> None:
    for size in range(1, MOST + 1):
        root = tree.root(NODES, size)
        for old in range(1, size + 1):
            path = tree.consistency_path(NODES, old, size)

            assert tree.is_continued(old, tree.root(NODES, old), size, root, path)


def test_another_history_is_no_growth() -> None:
    other = tree.nodes_over([*LEAVES[:9], tree.leaf_hash(b"another"), *LEAVES[10:]])
    for size in range(11, MOST + 1):
        for old in range(10, size):
            path = tree.consistency_path(other, old, size)

            assert not tree.is_continued(
                old, tree.root(NODES, old), size, tree.root(other, size), path
            )


def test_what_is_not_in_the_tree_has_no_path() -> None:
    with pytest.raises(ValueError, match="not in a tree"):
        tree.inclusion_path(NODES, 5, 5)
    with pytest.raises(ValueError, match="cannot continue"):
        tree.consistency_path(NODES, 6, 5)
    with pytest.raises(ValueError, match="cannot continue"):
        tree.consistency_path(NODES, 0, 5)
