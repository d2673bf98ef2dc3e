"""The animal model's equations with every dog without offspring and every litter absorbed exactly.

What is left are the fixed effects and the parents: about a tenth of the equations, and the same
solution. Two steps make it so; with variances in units of the residual one, λ = residual/additive
and κ = residual/litter:

- A dog without offspring is z a + its Mendelian part of variance d/λ, where z a is the mean of its
  parents (half the known one, none of an unknown one) and d the Mendelian share. No other equation
  knows that part, and residuals are independent. So its record is one of x b + z a + litter with
  variance 1/v + d/λ, v the weight it was given (1 unless told): its weight is w = 1/(1/v + d/λ),
  and a parent's own record has w = v and z = its own value. The dog itself follows after:
  a = (1 − k) z a + k (y − x b − litter), k = d/(d + λ/v).
- Given those, the litters' equations do not meet each other: litter ℓ has D = κ + Σw on the
  diagonal and s = Σ w(x, z) beside it, sums over its records. Taking it out leaves Σ w(x, z)′(x, z)
  − s′s/D, and the litter follows after: c = (Σ w y − s θ)/D.

Records are summed by group first: the parents' own ones, and one group for each pair of parents,
whose records share z and w. Source of the first step: Quaas & Pollak (1980), J Anim Sci 51:1277.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse

from registry.science.fixed_effects import FixedEffects
from registry.science.inbreeding import mendelian_variance
from registry.science.kinship import relationship_inverse
from registry.science.mixed_model import NO_LITTER, Codes, Numbers, Records, Variances
from registry.science.pedigree import UNKNOWN, Pedigree


@dataclass(frozen=True, eq=False)
class Dogs:
    """How each dog's value hangs on its parents', and how much its own record says."""

    parents: int
    """m: the dogs with offspring, numbered as in the pedigree's stock."""
    number: Codes
    """(n,): the number of each dog among them, m for a dog without offspring."""
    sire: Codes
    dam: Codes
    """(n,): the parents' numbers, m for an unknown one."""
    spread: Numbers
    """(n,): d/λ, the variance of the Mendelian part; 0 for a dog that is a parent itself."""
    factor: Numbers | None = None
    """(n,): the pedigree's factor of the Mendelian variances."""

    @classmethod
    def of(cls, pedigree: Pedigree, inbreeding: Numbers, ratio: float) -> Dogs:
        """Return the dogs of a pedigree at additive/residual variance ``ratio``.

        Without additive variance nothing hangs on a parent, and there is none.
        """
        if not ratio:
            nobody = np.zeros(len(pedigree), dtype=np.int64)
            return cls(0, nobody, nobody, nobody, np.zeros(len(pedigree)))
        number = pedigree.stock_number
        m = len(pedigree.stock)
        spread = ratio * mendelian_variance(pedigree, inbreeding)
        spread[pedigree.stock.places] = 0.0
        return cls(
            m, number[:-1], number[pedigree.sire], number[pedigree.dam], spread, pedigree.factor
        )

    def share(self, places: Codes) -> sparse.csr_array:
        """Return z of dogs without offspring: ½ at each known parent, (len(places), m)."""
        rows = np.arange(len(places))
        return _halves(rows, self.sire[places], self.dam[places], len(places), self.parents)


@dataclass(frozen=True, eq=False)
class ReducedEquations:
    """The equations of p fixed effects and m parents, times the residual variance."""

    dogs: Dogs
    fixed: FixedEffects
    fixed_block: Numbers
    """(p, p)"""
    beside: sparse.csr_array
    """(m, p)"""
    parents_block: sparse.csr_array
    """(m, m)"""
    right: Numbers
    """(p + m,)"""
    weight: Numbers
    """(r,): of each record."""
    litter_diagonal: Numbers
    """(l,): D."""
    litter_fixed: sparse.csr_array
    litter_parents: sparse.csr_array
    """(l, p) and (l, m): s."""
    litter_right: Numbers
    """(l,): Σ w y."""
    group: Codes
    """(r,): the group of each record."""
    group_weight: Numbers
    """(g,): what is left of each group's weight beside its litters."""
    group_fixed: sparse.csr_array
    """(g, p): Σ w x of each group, in the same way."""
    middle: float
    """What was taken off every record."""

    def __len__(self) -> int:
        """Return p + m."""
        return len(self.right)

    def times(self, given: Numbers) -> Numbers:
        """Return the product of the equations' matrix with a vector or with columns."""
        fixed, parents = np.split(given, [len(self.fixed)])
        upper = self.fixed_block @ fixed + self.beside.T @ parents
        return np.concatenate([upper, self.beside @ fixed + self.parents_block @ parents])

    def diagonal(self) -> Numbers:
        """Return the diagonal of the matrix."""
        return np.concatenate([np.diag(self.fixed_block), self.parents_block.diagonal()])

    def dense(self) -> Numbers:
        """Return the matrix, (p + m, p + m), its columns one after the other in memory."""
        p = len(self.fixed)
        matrix = np.zeros((len(self), len(self)), order="F")
        matrix[:p, :p] = self.fixed_block
        # Entry by entry: a dense copy of a block would need the memory once more.
        beside, block = self.beside.tocoo(), self.parents_block.tocoo()
        matrix[p + beside.row, beside.col] = beside.data
        matrix[beside.col, p + beside.row] = beside.data
        matrix[p + block.row, p + block.col] = block.data
        return matrix


def reduced_equations(
    pedigree: Pedigree, inbreeding: Numbers, records: Records, variances: Variances
) -> ReducedEquations:
    """Return the reduced equations of the records."""
    dogs = Dogs.of(pedigree, inbreeding, variances.additive / variances.residual)
    weight = 1.0 / (1.0 / records.weights + dogs.spread[records.dog])
    fixed = FixedEffects.of(records.fixed, records.age, weight)
    middle = float(records.value.mean()) if records.fixed and len(records) else 0.0
    value = records.value - middle
    group, pairs = _groups(dogs, records.dog)
    z = _shares(dogs, pairs)
    litter, litters = _litters(records.litter, variances)
    by_group, by_litter = _sums(group, z.shape[0], weight), _sums(litter, litters, weight)
    shared = _shared(group, z.shape[0], litter, litters, weight)
    diagonal = by_litter.sum(axis=1) + (variances.residual / variances.litter if litters else 0.0)
    litter_fixed, litter_right = by_litter @ fixed.rows, by_litter @ value
    scaled, spread = _divided(litter_fixed.T, diagonal), _divided(shared, diagonal)
    own = sparse.csr_array(sparse.diags_array(by_group.sum(axis=1)) - spread @ shared.T)
    group_fixed = by_group @ fixed.rows - spread @ litter_fixed
    right = [
        fixed.rows.T @ (weight * value) - scaled @ litter_right,
        z.T @ (by_group @ value - spread @ litter_right),
    ]
    return ReducedEquations(
        dogs=dogs,
        fixed=fixed,
        fixed_block=fixed.products - (scaled @ litter_fixed).toarray(),
        beside=z.T.tocsr() @ group_fixed,
        parents_block=z.T.tocsr() @ own @ z + _penalty(pedigree, inbreeding, variances),
        right=np.concatenate(right),
        weight=weight,
        litter_diagonal=diagonal,
        litter_fixed=litter_fixed,
        litter_parents=sparse.csr_array(shared.T @ z),
        litter_right=litter_right,
        group=group,
        group_weight=own.diagonal(),
        group_fixed=group_fixed,
        middle=middle,
    )


def runs_numbered(codes: Codes) -> tuple[Codes, Codes]:
    """Return the codes that occur, ascending, and the number of each given one among them.

    Quick where the same code stands many times side by side, as littermates mostly do.
    """
    is_first = np.diff(codes, prepend=-1) != 0
    occurring, number = np.unique(codes[is_first], return_inverse=True)
    return occurring, number[np.cumsum(is_first) - 1]


def _groups(dogs: Dogs, recorded: Codes) -> tuple[Codes, Codes]:
    """Return each record's group, and the pairs of parents: the groups after the m parents."""
    m = dogs.parents
    group = dogs.number[recorded]
    childless = np.flatnonzero(group == m)
    places = recorded[childless]
    pairs, number = runs_numbered(dogs.sire[places] * (m + 1) + dogs.dam[places])
    group[childless] = m + number
    return group, pairs


def _shares(dogs: Dogs, pairs: Codes) -> sparse.csr_array:
    """Return the groups' z, (groups, m)."""
    m = dogs.parents
    sire, dam = np.divmod(pairs, m + 1)
    halves = _halves(np.arange(len(pairs)), sire, dam, len(pairs), m)
    return sparse.vstack([sparse.eye_array(m, format="csr"), halves], format="csr")


def _litters(code: Codes, variances: Variances) -> tuple[Codes, int]:
    """Return each record's litter and how long the row of litters is; none without variance."""
    if not variances.litter:
        return np.full(len(code), NO_LITTER), 0
    return code, int(code.max(initial=NO_LITTER)) + 1


def _sums(group: Codes, groups: int, weight: Numbers) -> sparse.csr_array:
    """Return the matrix that sums what it is multiplied with by group, weighted, (groups, r)."""
    rows = np.flatnonzero(group >= 0)
    return sparse.coo_array((weight[rows], (group[rows], rows)), shape=(groups, len(group))).tocsr()


def _shared(
    group: Codes, groups: int, litter: Codes, litters: int, weight: Numbers
) -> sparse.csr_array:
    """Return the weight that each group and each litter have in common, (groups, litters)."""
    rows = np.flatnonzero(litter >= 0)
    where = group[rows], litter[rows]
    return sparse.coo_array((weight[rows], where), shape=(groups, litters)).tocsr()


def _divided(matrix: Any, divisor: Numbers) -> sparse.csr_array:
    """Return a matrix with each column divided by a number."""
    rows = sparse.csr_array(matrix)
    return sparse.csr_array(
        (rows.data / divisor[rows.indices], rows.indices, rows.indptr), shape=rows.shape
    )


def _halves(rows: Codes, sire: Codes, dam: Codes, length: int, m: int) -> sparse.csr_array:
    has_sire, has_dam = sire < m, dam < m
    where = (
        np.concatenate([rows[has_sire], rows[has_dam]]),
        np.concatenate([sire[has_sire], dam[has_dam]]),
    )
    return sparse.coo_array((np.full(len(where[0]), 0.5), where), shape=(length, m)).tocsr()


def _penalty(pedigree: Pedigree, inbreeding: Numbers, variances: Variances) -> sparse.csr_array:
    """Return λA⁻¹ of the parents alone; they hold all their ancestors."""
    if not variances.additive:
        return sparse.csr_array((0, 0))
    stock = pedigree.stock
    m = len(stock)
    parents = Pedigree(
        sire=np.where(stock.sire < m, stock.sire, UNKNOWN),
        dam=np.where(stock.dam < m, stock.dam, UNKNOWN),
        order=np.arange(m),
        level=pedigree.level[stock.places],
        factor=stock.factor,
    )
    inverse = relationship_inverse(parents, inbreeding[stock.places])
    return (variances.residual / variances.additive) * inverse
