"""The animal model's equations with every dog without offspring and every litter absorbed exactly.

What is left are the fixed effects and the parents: about a tenth of the equations, and the same
solution. Two steps make it so; with variances in units of the residual one, λ = residual/additive
and κ = residual/litter:

- A dog without offspring is z a + its Mendelian part of variance d/λ, where z a is the mean of its
  parents (half the known one, none of an unknown one) and d the Mendelian share. No other equation
  knows that part, and residuals are independent. So its record is one of x b + z a + litter with
  variance 1 + d/λ: its weight is w = 1/(1 + d/λ), and a parent's own record has w = 1 and z = its
  own value. The dog itself follows after: a = (1 − k) z a + k (y − x b − litter), k = d/(d + λ).
- Given those, the litters' equations do not meet each other: litter ℓ has D = κ + Σw on the
  diagonal and s = Σ w(x, z) beside it, sums over its records. Taking it out leaves Σ w(x, z)′(x, z)
  − s′s/D, and the litter follows after: c = (Σ w y − s θ)/D.

Records are summed by group first: the parents' own ones, and one group for each pair of parents,
whose records share z and w. Source of the first step: Quaas & Pollak (1980), J Anim Sci 51:1277.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from registry.science.fixed_effects import FixedEffects, sums_by
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
        return cls(m, number[:-1], number[pedigree.sire], number[pedigree.dam], spread)

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
        matrix[p:, :p] = self.beside.toarray()
        matrix[:p, p:] = matrix[p:, :p].T
        matrix[p:, p:] = self.parents_block.toarray()
        return matrix


def reduced_equations(
    pedigree: Pedigree, inbreeding: Numbers, records: Records, variances: Variances
) -> ReducedEquations:
    """Return the reduced equations of the records."""
    dogs = Dogs.of(pedigree, inbreeding, variances.additive / variances.residual)
    fixed = FixedEffects.of(records.fixed, records.age)
    middle = float(records.value.mean()) if records.fixed and len(records) else 0.0
    value = records.value - middle
    weight = 1.0 / (1.0 + dogs.spread[records.dog])
    group, z = _groups(dogs, records.dog)
    litter, litters = _litters(records.litter, variances)
    kappa = variances.residual / variances.litter if litters else 0.0
    in_litter = np.flatnonzero(litter >= 0)
    diagonal = kappa + sums_by(litter, weight, litters)
    shared = sparse.coo_array(
        (weight[in_litter], (group[in_litter], litter[in_litter])), shape=(z.shape[0], litters)
    ).tocsr()
    spread = shared @ sparse.diags_array(1.0 / diagonal)
    litter_fixed = fixed.sums(litter, litters, weight)
    litter_right = sums_by(litter, weight * value, litters)
    own = sums_by(group, weight, z.shape[0])
    by_group = fixed.sums(group, z.shape[0], weight) - spread @ litter_fixed
    right = sums_by(group, weight * value, z.shape[0])
    scaled = litter_fixed.T @ sparse.diags_array(1.0 / diagonal)
    return ReducedEquations(
        dogs=dogs,
        fixed=fixed,
        fixed_block=fixed.cross_products(weight) - (scaled @ litter_fixed).toarray(),
        beside=sparse.csr_array(z.T @ by_group),
        parents_block=sparse.csr_array(
            z.T @ (sparse.diags_array(own) - spread @ shared.T) @ z
            + _penalty(pedigree, inbreeding, variances)
        ),
        right=np.concatenate(
            [
                fixed.transposed_times(weight * value) - scaled @ litter_right,
                z.T @ (right - spread @ litter_right),
            ]
        ),
        weight=weight,
        litter_diagonal=diagonal,
        litter_fixed=litter_fixed,
        litter_parents=sparse.csr_array(shared.T @ z),
        litter_right=litter_right,
        middle=middle,
    )


def _groups(dogs: Dogs, recorded: Codes) -> tuple[Codes, sparse.csr_array]:
    """Return each record's group, and the groups' z: the parents first, then pairs of parents."""
    m = dogs.parents
    group = dogs.number[recorded]
    childless = np.flatnonzero(group == m)
    pair = dogs.sire[recorded[childless]] * (m + 1) + dogs.dam[recorded[childless]]
    # Littermates mostly stand side by side: one of each run is enough to sort.
    is_first = np.diff(pair, prepend=-1) != 0
    pairs, number = np.unique(pair[is_first], return_inverse=True)
    group[childless] = m + number[np.cumsum(is_first) - 1]
    sire, dam = np.divmod(pairs, m + 1)
    halves = _halves(np.arange(len(pairs)), sire, dam, len(pairs), m)
    return group, sparse.csr_array(sparse.vstack([sparse.eye_array(m, format="csr"), halves]))


def _halves(rows: Codes, sire: Codes, dam: Codes, length: int, m: int) -> sparse.csr_array:
    has_sire, has_dam = sire < m, dam < m
    where = (
        np.concatenate([rows[has_sire], rows[has_dam]]),
        np.concatenate([sire[has_sire], dam[has_dam]]),
    )
    return sparse.coo_array((np.full(len(where[0]), 0.5), where), shape=(length, m)).tocsr()


def _litters(code: Codes, variances: Variances) -> tuple[Codes, int]:
    """Return each record's litter and how long the row of litters is; none without variance."""
    if not variances.litter:
        return np.full(len(code), NO_LITTER), 0
    return code, int(code.max(initial=NO_LITTER)) + 1


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
    )
    inverse = relationship_inverse(parents, inbreeding[stock.places])
    return (variances.residual / variances.additive) * inverse
