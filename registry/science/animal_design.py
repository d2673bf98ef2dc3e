"""The animal model of one or more traits laid out as arrays: records, parents, litters.

A dog without offspring is ½ sire + ½ dam + its own Mendelian part, and that part is independent of
everything else; so its breeding value needs no equation of its own. What is left are the fixed
effects and the parents: y = X b + T a + Mendelian part + litter + residual. This module only lays
the arrays out, once for a breed; what is computed from them at given variances is in
``animal_equations``. The solver of one trait, for breeds of any size, is ``breeding_values``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from registry.science.fixed_effects import FixedEffects
from registry.science.inbreeding import mendelian_variance
from registry.science.mixed_model import Records
from registry.science.pedigree import UNKNOWN, Pedigree

Numbers = NDArray[np.float64]
Places = NDArray[np.int64]

_BLOCK = 256
"""Columns of the relationship matrix that are made at once."""


@dataclass(frozen=True, eq=False)
class AnimalDesign:
    """N records of m dogs in t traits; p parents, b fixed effects, L litters.

    Records stand one trait after the other; unknowns stand as the b fixed effects, then the p
    parents once for each trait.
    """

    y: Numbers
    """(N,)"""
    effects: sparse.csr_array
    """(N, b + p t): the records' part of X and T."""
    columns: tuple[FixedEffects, ...]
    """The fixed effects of each trait."""
    dogs: Places
    """(m,): the places of the dogs with a record, ascending."""
    row: Places
    """(m, t): the number of each dog's record in each trait, -1 for none."""
    transmission: sparse.csr_array
    """(m, p): T of one trait: 1 for a parent's own record, else ½ for each known parent."""
    mendelian: Numbers
    """(m,): the Mendelian variance as a share of the additive one; 0 for a dog that is a parent."""
    litter: Places
    """(m,): the number of each dog's litter."""
    litters: int
    """L: a dog without a known litter is one of its own."""
    parents: Places
    """(p,): the parents' places."""
    relationship_inverse: Numbers
    """(p, p): the inverse relationship matrix of the parents, written down in full."""
    log_relationship: float
    """The logarithm of the determinant of the parents' relationship matrix."""

    @classmethod
    def of_recorded(
        cls, pedigree: Pedigree, inbreeding: Numbers, traits: Sequence[Records]
    ) -> Self:
        """Lay out the records with the recorded dogs' parents alone.

        Older ancestors are in the relationships of those, which are written down in full: the
        likelihood is the same as with the whole pedigree, from fewer equations.
        """
        parents = parents_of(pedigree, traits)
        factor = np.linalg.cholesky(_relationships(pedigree, inbreeding, parents))
        inverse = linalg.cho_solve((factor, True), np.eye(len(parents)))
        log = 2 * float(np.log(np.diag(factor)).sum())
        return cls._laid_out(pedigree, inbreeding, traits, parents, inverse, log)

    @classmethod
    def _laid_out(
        cls,
        pedigree: Pedigree,
        inbreeding: Numbers,
        traits: Sequence[Records],
        parents: Places,
        relationship_inverse: Numbers,
        log_relationship: float,
    ) -> Self:
        if any(records.weight is not None for records in traits):
            raise ValueError("this design has no place for weighted records")
        dogs, row = _rows(len(pedigree), traits)
        litter, litters = _litters(traits, dogs)
        number = np.full(len(pedigree) + 1, UNKNOWN)
        number[parents] = np.arange(len(parents))
        transmission = _transmission(number, pedigree, dogs, len(parents))
        mendelian = mendelian_variance(pedigree, inbreeding)[dogs]
        mendelian[number[dogs] != UNKNOWN] = 0.0
        columns = tuple(FixedEffects.of(records.fixed, records.age) for records in traits)
        fixed = sparse.block_diag([each.rows for each in columns], format="csr")
        gene = sparse.block_diag(
            [transmission[np.searchsorted(dogs, records.dog)] for records in traits], format="csr"
        )
        return cls(
            y=np.concatenate([records.value for records in traits]).astype(np.float64),
            effects=sparse.csr_array(sparse.hstack([fixed, gene], format="csr")),
            columns=columns,
            dogs=dogs,
            row=row,
            transmission=transmission,
            mendelian=mendelian,
            litter=litter,
            litters=litters,
            parents=parents,
            relationship_inverse=relationship_inverse,
            log_relationship=log_relationship,
        )

    @property
    def traits(self) -> int:
        """The number of traits, t."""
        return int(self.row.shape[1])

    @property
    def fixed(self) -> int:
        """The number of fixed effects, b."""
        return sum(len(columns) for columns in self.columns)

    @property
    def has_litters(self) -> bool:
        """Whether any two recorded dogs share a litter: else litter and residual are one."""
        return self.litters < len(self.dogs)

    @property
    def genes(self) -> int:
        """How many dogs the additive values belong to: the parents, and the others with records."""
        return len(self.parents) + int(np.count_nonzero(self.mendelian))


def _rows(n: int, traits: Sequence[Records]) -> tuple[Places, Places]:
    """Return the recorded ones of n dogs, and the row of each one's record in each trait."""
    row = np.full((n, len(traits)), -1, dtype=np.int64)
    first = 0
    for trait, records in enumerate(traits):
        if len(records) and not (records.dog.min() >= 0 and records.dog.max() < n):
            raise ValueError(f"a record's dog must be from 0 to {n - 1}")
        row[records.dog, trait] = first + np.arange(len(records))
        if np.count_nonzero(row[:, trait] >= 0) != len(records):
            raise ValueError("a dog has two records of one trait; give one record a dog")
        first += len(records)
    dogs = np.flatnonzero((row >= 0).any(axis=1))
    return dogs, row[dogs]


def _litters(traits: Sequence[Records], dogs: Places) -> tuple[Places, int]:
    """Return the number of each dog's litter, and how many there are."""
    code = np.full(len(dogs), -1, dtype=np.int64)
    for records in traits:
        at = np.searchsorted(dogs, records.dog)
        if np.any((code[at] >= 0) & (records.litter >= 0) & (code[at] != records.litter)):
            raise ValueError("a dog's litter differs between the two traits; use the same codes")
        code[at] = np.maximum(code[at], records.litter)
    unknown = code < 0
    code[unknown] = code.max(initial=-1) + 1 + np.arange(np.count_nonzero(unknown))
    is_there = np.bincount(code) > 0
    number = np.cumsum(is_there) - 1
    return number[code].astype(np.int64), int(np.count_nonzero(is_there))


def parents_of(pedigree: Pedigree, traits: Sequence[Records]) -> Places:
    """Return the places of the known parents of all recorded dogs, ascending."""
    is_parent = np.zeros(len(pedigree) + 1, dtype=bool)
    for records in traits:
        is_parent[pedigree.sire[records.dog]] = True
        is_parent[pedigree.dam[records.dog]] = True
    known: Places = np.flatnonzero(is_parent[:-1])
    return known


def _relationships(pedigree: Pedigree, inbreeding: Numbers, parents: Places) -> Numbers:
    """Return the relationship matrix (p, p) of some parents, a block of columns at a time."""
    numbers = pedigree.stock_number[parents]
    stock, renumbered = pedigree.stock.above(numbers)
    at = renumbered[numbers]
    found = np.empty((len(parents), len(parents)))
    for first in range(0, len(parents), _BLOCK):
        block = slice(first, first + _BLOCK)
        given = np.zeros((len(stock) + 1, len(at[block])))
        given[at[block], np.arange(len(at[block]))] = 1.0
        found[:, block] = stock.relationships(given, inbreeding[stock.places])[at]
    return found


def _transmission(
    number: Places, pedigree: Pedigree, dogs: Places, parents: int
) -> sparse.csr_array:
    """Return T (m, p): which parents' values make up a recorded dog's, but for its own part."""
    own = number[dogs]
    is_parent = own != UNKNOWN
    rows, columns, weights = (
        [np.flatnonzero(is_parent)],
        [own[is_parent]],
        [np.ones(is_parent.sum())],
    )
    for parent in (pedigree.sire, pedigree.dam):
        known = np.flatnonzero(~is_parent & (parent[dogs] != UNKNOWN))
        rows.append(known)
        columns.append(number[parent[dogs[known]]])
        weights.append(np.full(len(known), 0.5))
    entries = (np.concatenate(rows), np.concatenate(columns))
    return sparse.csr_array((np.concatenate(weights), entries), shape=(len(dogs), parents))
