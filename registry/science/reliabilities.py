"""How well each breeding value is known: the error variance and the reliability of every dog."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse

from registry.science.mixed_model import Codes, Numbers, Records, Variances
from registry.science.reduced_equations import ReducedEquations

_ROWS = 2048
"""Dogs reckoned at once, so that the work needs little memory beside the inverse."""


@dataclass(frozen=True, eq=False)
class Reliabilities:
    """Of the n dogs in the caller's order."""

    error_variance: Numbers
    reliability: Numbers
    method: str

    @classmethod
    def of(
        cls, error_variance: Numbers, inbreeding: Numbers, variances: Variances, method: str
    ) -> Reliabilities:
        """Return the reliabilities that follow from error variances: 1 − PEV/((1 + F)·additive)."""
        own = (1.0 + inbreeding) * variances.additive
        # Without additive variance there is nothing to know.
        unknown = np.divide(error_variance, own, out=np.ones_like(own), where=own > 0)
        return cls(error_variance, np.clip(1.0 - unknown, 0.0, 1.0), method)


def exact(
    system: ReducedEquations, inbreeding: Numbers, records: Records, variances: Variances
) -> tuple[Numbers, Reliabilities]:
    """Return the solution and the exact reliabilities by the dense inverse of the equations."""
    inverse = _inverse(system.dense())
    solution = inverse @ system.right
    p, dogs = len(system.fixed), system.dogs
    variance = np.empty(len(inbreeding))
    is_parent = dogs.number < dogs.parents
    variance[is_parent] = np.diag(inverse)[p + dogs.number[is_parent]]
    childless = np.flatnonzero(~is_parent)
    for first in range(0, len(childless), _ROWS):
        places = childless[first : first + _ROWS]
        lines, alone = dependence(system, records, places)
        variance[places] = alone + lines.multiply(lines @ inverse).sum(axis=1)
    error_variance = variances.residual * variance
    return solution, Reliabilities.of(error_variance, inbreeding, variances, "exact")


def dependence(
    system: ReducedEquations, records: Records, places: Codes
) -> tuple[sparse.csr_array, Numbers]:
    """Return how the values of dogs without offspring hang on the equations' solution θ.

    Given θ, such a value is v θ + something known + an independent error. Returns the rows v,
    (j, p + m), and the error's variance in units of the residual one, (j,). With k = d/(d + λ) for
    a recorded dog, else 0: v = (1 − k) z − k x + k s/D of its litter; the error is d/(d + λ), or
    d/λ without a record, and k²/D for the litter.
    """
    dogs, r = system.dogs, len(records)
    record = np.full(len(dogs.number), -1)
    record[records.dog] = np.arange(r)
    row = record[places]
    spread = dogs.spread[places]
    gain = np.where(row >= 0, spread / (1.0 + spread), 0.0)
    alone = np.where(row >= 0, gain, spread)
    of_fixed = -_picked(system.fixed.rows(), row)
    of_parents = sparse.diags_array(1.0 - gain) @ dogs.share(places)
    if len(system.litter_diagonal):
        litter = np.where(row >= 0, records.litter[row], -1)
        inverse = np.append(1.0 / system.litter_diagonal, 0.0)[litter]
        alone = alone + gain**2 * inverse
        scale = sparse.diags_array(inverse)
        of_fixed = of_fixed + scale @ _picked(system.litter_fixed, litter)
        mates = scale @ _picked(system.litter_parents, litter)
        of_parents = of_parents + sparse.diags_array(gain) @ mates
    of_fixed = sparse.diags_array(gain) @ of_fixed
    return sparse.hstack([of_fixed, of_parents], format="csr"), alone


def _picked(matrix: sparse.csr_array, rows: Codes) -> sparse.csr_array:
    """Return rows of a matrix; an empty one for −1."""
    known = np.flatnonzero(rows >= 0)
    pick = sparse.coo_array(
        (np.ones(len(known)), (known, rows[known])), shape=(len(rows), matrix.shape[0])
    )
    return sparse.csr_array(pick.tocsr() @ matrix)


def _inverse(matrix: Numbers) -> Numbers:
    """Return the inverse of a symmetric positive definite matrix, in its own memory."""
    if not len(matrix):
        return matrix
    factor, failed = linalg.lapack.dpotrf(matrix, lower=1, overwrite_a=1)
    if failed:
        raise linalg.LinAlgError(f"the equations are singular at row {failed}")
    inverse: Numbers = linalg.lapack.dpotri(factor, lower=1, overwrite_c=1)[0]
    for column in range(0, len(inverse), _ROWS):
        block = slice(column, column + _ROWS)
        inverse[block, column + _ROWS :] = inverse[column + _ROWS :, block].T
        square = np.tril(inverse[block, block])
        inverse[block, block] = square + np.tril(square, -1).T
    return inverse
