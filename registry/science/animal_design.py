"""The animal model of one or more traits as arrays, with everything but the parents absorbed.

A dog without offspring is ½ sire + ½ dam + its own Mendelian part, and that part is independent of
everything else; so its breeding value needs no equation of its own. What is left are the fixed
effects and the parents: y = X b + T a + Mendelian part + litter + residual. This module only lays
the arrays out, once for a breed; what is computed from them at given variances is in
``restricted_likelihood``. The solver for very large breeds is ``mixed_model``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from registry.science.inbreeding import mendelian_variance
from registry.science.kinship import relationship_inverse
from registry.science.mixed_model import Records
from registry.science.pedigree import UNKNOWN, Pedigree

Numbers = NDArray[np.float64]
Places = NDArray[np.int64]

_DEPENDENT = 1e-9
"""Share of a column's length that must be left beside the columns before it."""


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
    fixed: int
    """b: columns of X that are independent of the others."""
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
    relationship_inverse: sparse.csr_array
    """(p, p): the inverse relationship matrix of the parents."""
    log_relationship: float
    """The logarithm of the determinant of the parents' relationship matrix."""

    @classmethod
    def of(
        cls,
        pedigree: Pedigree,
        inbreeding: Numbers,
        traits: Sequence[Records],
        *,
        whole: bool = False,
    ) -> Self:
        """Lay out the records of one or more traits.

        A pedigree is cut to what the records can see (the likelihood does not change by it), or
        kept ``whole`` so that every parent gets a value. Raises ValueError for a dog recorded
        twice or in two litters.
        """
        dogs, row = _rows(traits)
        litter, litters = _litters(traits, dogs)
        sire, dam = (pedigree.sire, pedigree.dam) if whole else _cut(pedigree, dogs)
        seen = Pedigree(sire, dam, pedigree.order, pedigree.level)
        mendelian = mendelian_variance(seen, inbreeding)
        parents = np.unique(np.concatenate([sire, dam]))
        parents = parents[parents != UNKNOWN]
        number = np.full(len(pedigree) + 1, UNKNOWN)
        number[parents] = np.arange(len(parents))
        of_parents = Pedigree.of(number[sire[parents]], number[dam[parents]])
        transmission = _transmission(number, sire, dam, dogs, len(parents))
        own = mendelian[dogs]
        own[number[dogs] != UNKNOWN] = 0.0
        fixed = sparse.block_diag([fixed_columns(records) for records in traits], format="csr")
        gene = sparse.block_diag(
            [transmission[np.searchsorted(dogs, records.dog)] for records in traits], format="csr"
        )
        return cls(
            y=np.concatenate([records.value for records in traits]).astype(np.float64),
            effects=sparse.csr_array(sparse.hstack([fixed, gene], format="csr")),
            fixed=fixed.shape[1],
            dogs=dogs,
            row=row,
            transmission=transmission,
            mendelian=own,
            litter=litter,
            litters=litters,
            parents=parents,
            relationship_inverse=relationship_inverse(of_parents, inbreeding[parents]),
            log_relationship=float(np.log(mendelian[parents]).sum()),
        )

    @property
    def traits(self) -> int:
        """The number of traits, t."""
        return int(self.row.shape[1])

    @property
    def has_litters(self) -> bool:
        """Whether any two recorded dogs share a litter: else litter and residual are one."""
        return self.litters < len(self.dogs)

    @property
    def genes(self) -> int:
        """How many dogs the additive values belong to: the parents, and the others with records."""
        return len(self.parents) + int(np.count_nonzero(self.mendelian))


def _rows(traits: Sequence[Records]) -> tuple[Places, Places]:
    """Return the recorded dogs and the row of each one's record in each trait."""
    dogs = np.unique(np.concatenate([records.dog for records in traits]))
    row = np.full((len(dogs), len(traits)), -1, dtype=np.int64)
    first = 0
    for trait, records in enumerate(traits):
        if len(np.unique(records.dog)) != len(records.dog):
            raise ValueError("a dog has two records of one trait; give one record a dog")
        row[np.searchsorted(dogs, records.dog), trait] = first + np.arange(len(records.dog))
        first += len(records.dog)
    return dogs, row


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
    _, litter = np.unique(code, return_inverse=True)
    return litter.astype(np.int64), int(litter.max(initial=-1)) + 1


def _cut(pedigree: Pedigree, dogs: Places) -> tuple[Places, Places]:
    """Return sires and dams with everybody left out whom the records cannot see.

    Left out are dogs that are no recorded dog's ancestor, and, again and again, a dog without
    record and known parents that has only one offspring: to it, it is as good as unknown.
    """
    n = len(pedigree)
    sire, dam = pedigree.sire.copy(), pedigree.dam.copy()
    is_seen = np.zeros(n + 1, dtype=bool)
    is_seen[dogs] = True
    for level in range(int(pedigree.level.max(initial=0)), 0, -1):
        here = np.flatnonzero(is_seen[:n] & (pedigree.level == level))
        is_seen[sire[here]] = is_seen[dam[here]] = True
    is_seen[n] = False
    sire[~is_seen[:n]] = dam[~is_seen[:n]] = UNKNOWN
    has_record = np.zeros(n, dtype=bool)
    has_record[dogs] = True
    while True:
        offspring = np.bincount(np.concatenate([sire, dam]) + 1, minlength=n + 1)[1:]
        founder = (sire == UNKNOWN) & (dam == UNKNOWN)
        idle = np.append(founder & ~has_record & (offspring == 1), False)
        if not idle.any():
            return sire, dam
        # Dogs of the seen pedigree without link left at either end simply vanish from it.
        sire[idle[sire]] = UNKNOWN
        dam[idle[dam]] = UNKNOWN


def _transmission(
    number: Places, sire: Places, dam: Places, dogs: Places, parents: int
) -> sparse.csr_array:
    """Return T (m, p): which parents' values make up a recorded dog's, but for its own part."""
    own = number[dogs]
    is_parent = own != UNKNOWN
    rows, columns, weights = (
        [np.flatnonzero(is_parent)],
        [own[is_parent]],
        [np.ones(is_parent.sum())],
    )
    for parent in (sire, dam):
        known = np.flatnonzero(~is_parent & (parent[dogs] != UNKNOWN))
        rows.append(known)
        columns.append(number[parent[dogs[known]]])
        weights.append(np.full(len(known), 0.5))
    entries = (np.concatenate(rows), np.concatenate(columns))
    return sparse.csr_array((np.concatenate(weights), entries), shape=(len(dogs), parents))


def fixed_columns(records: Records) -> sparse.csr_array:
    """Return the independent columns of X (r, b): the levels of each effect, then age."""
    rows = np.arange(len(records.dog))
    columns = []
    for codes in records.fixed.values():
        levels, at = np.unique(codes, return_inverse=True)
        shape = (len(rows), len(levels))
        columns.append(sparse.csr_array((np.ones(len(rows)), (rows, at)), shape=shape))
    age = records.age - records.age.mean() if len(records.age) else records.age
    columns.append(sparse.csr_array(age.reshape(-1, 1)))
    x = sparse.csr_array(sparse.hstack(columns, format="csr"))
    return sparse.csr_array(x[:, _independent(x)])


def _independent(x: sparse.csr_array) -> Places:
    """Return the columns that are no combination of those before them."""
    products = (x.T @ x).toarray()
    length = np.sqrt(np.diag(products))
    scale = np.where(length > 0, length, 1.0)
    left = products / np.outer(scale, scale)
    kept = []
    for column in range(left.shape[0]):
        if left[column, column] > _DEPENDENT:
            kept.append(column)
            taken = left[:, column] / np.sqrt(left[column, column])
            left -= np.outer(taken, taken)
    return np.array(kept, dtype=np.int64)
