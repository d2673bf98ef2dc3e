"""The rows of a pedigree's file as candidates for the register, and the graph they make: which rows
and dogs are one, which stand on a loop, and in what order they can be written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from registry.desk.parentage import Birth, Known, ParentRole
from registry.desk.pedigree_rows import Row
from registry.models import Dog


@dataclass(slots=True)
class Candidate:
    """One row on its way into the register. ``known`` is the dog that is there already; a parent
    is another row, a dog of the register, or none."""

    row: Row
    values: dict[str, Any]
    faults: list[tuple[str, str]] = field(default_factory=list)
    differences: list[tuple[str, str]] = field(default_factory=list)
    known: Dog | None = None
    parents: dict[ParentRole, Candidate | Dog] = field(default_factory=dict)

    @property
    def birth(self) -> Birth:
        """The birth that the rules for parents are asked about."""
        return Birth(self.values["breed"], self.values["born_on"])

    def as_known(self) -> Known:
        """What the rules must know of it: the register's word goes before the row's."""
        values = self.values
        if self.known is not None:
            died_on = self.known.died_on or values["died_on"]
            return Known.of(self.known)._replace(died_on=died_on)
        breed = values["breed"]
        return Known(
            values["name"],
            breed.pk if breed else 0,
            values["sex"],
            values["born_on"],
            values["died_on"],
        )


Node = tuple[str, int]


def node_of(each: Candidate | Dog) -> Node:
    """One dog is one node, whether a row or the register speaks of it."""
    if isinstance(each, Dog):
        return "dog", each.pk
    return ("dog", each.known.pk) if each.known is not None else ("row", each.row.number)


def loops_of(edges: dict[Node, list[Node]]) -> dict[Node, int]:
    """The nodes that stand on a loop, each with the number of its loop."""
    nodes = list({node: None for child, above in edges.items() for node in (child, *above)})
    place = {node: at for at, node in enumerate(nodes)}
    pairs = [(place[child], place[one]) for child, above in edges.items() for one in above]
    if not pairs:
        return {}
    children, parents = np.array(pairs).T
    graph = csr_array((np.ones(len(pairs)), (children, parents)), shape=(len(nodes), len(nodes)))
    _count, labels = connected_components(graph, directed=True, connection="strong")
    sizes = np.bincount(labels)
    own = {child for child, parent in pairs if child == parent}
    return {
        node: int(labels[at]) for at, node in enumerate(nodes) if sizes[labels[at]] > 1 or at in own
    }


def in_order(candidates: Iterable[Candidate]) -> list[Candidate]:
    """The rows without a fault, parents before their offspring."""
    done: set[int] = set()
    ordered: list[Candidate] = []
    for start in candidates:
        path = [start]
        while path:
            candidate = path[-1]
            above = [
                parent
                for parent in candidate.parents.values()
                if isinstance(parent, Candidate) and id(parent) not in done
            ]
            if candidate.faults or id(candidate) in done:
                path.pop()
            elif above:
                path.extend(above)
            else:
                done.add(id(path.pop()))
                ordered.append(candidate)
    return ordered
