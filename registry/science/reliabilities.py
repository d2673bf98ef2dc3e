"""How well each breeding value is known: error variances by the inverse of the equations.

For all dogs of a breed by one dense inverse, or for chosen dogs of a breed of any size by a system
solved for each. What is reckoned without an inverse is in ``approximate_reliabilities``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import linalg, sparse

from registry.science.conjugate_gradients import conjugate_gradients
from registry.science.mixed_model import Codes, Numbers, Records
from registry.science.reduced_equations import ReducedEquations

_ROWS = 512
"""Dogs reckoned at once, so that the work needs little memory beside the inverse."""


@dataclass(frozen=True, eq=False)
class Dependence:
    """How the values of j dogs hang on the solution θ of the equations.

    Each is v θ + something known + an error independent of θ.
    """

    lines: sparse.csr_array
    """(j, p + m): v."""
    alone: Numbers
    """(j,): the variance of that error, in units of the residual one."""


class Errors(NamedTuple):
    """How well everything is known: in the trait's unit squared."""

    values: Numbers
    """(n,): error variances of the dogs' values."""
    fixed: Numbers
    """(p, p): sampling covariances of the fixed effects."""


def error_variances(
    system: ReducedEquations, records: Records, variance: float
) -> tuple[Numbers, Errors]:
    """Return the equations' solution, (p + m,), and how well everything is known: exact.

    ``variance`` is the residual one. Needs memory for a dense matrix of all equations.
    """
    inverse = _inverse(system.dense())
    p, dogs = len(system.fixed), system.dogs
    is_parent = dogs.number < dogs.parents
    found = np.empty(len(dogs.number))
    found[is_parent] = np.diag(inverse)[p + dogs.number[is_parent]]
    childless = np.flatnonzero(~is_parent)
    for first in range(0, len(childless), _ROWS):
        places = childless[first : first + _ROWS]
        on = dependence(system, records, places)
        # The transpose is the same numbers, in the order in memory that the product asks for.
        found[places] = on.alone + on.lines.multiply(on.lines @ inverse.T).sum(axis=1)
    return inverse @ system.right, Errors(variance * found, variance * inverse[:p, :p])


def error_variances_of(
    system: ReducedEquations, records: Records, variance: float, places: Codes
) -> Numbers:
    """Return the error variances of some dogs, in the same way, without the inverse, (j,)."""
    p, dogs = len(system.fixed), system.dogs
    found = np.zeros(len(places))
    columns = np.zeros((len(system), len(places)))
    number = dogs.number[places]
    is_parent = number < dogs.parents
    columns[p + number[is_parent], np.flatnonzero(is_parent)] = 1.0
    on = dependence(system, records, places[~is_parent])
    columns[:, ~is_parent] = on.lines.T.toarray()
    found[~is_parent] = on.alone
    solved = conjugate_gradients(system.times, system.diagonal(), columns, tolerance=1e-9)
    found += np.einsum("ij,ij->j", columns, solved.solution)
    return variance * found


def dependence(system: ReducedEquations, records: Records, places: Codes) -> Dependence:
    """Return how the values of dogs without offspring hang on the equations' solution.

    With k = d/(d + λ/v) for a recorded dog, v its record's weight, else 0: the line is
    (1 − k) z − k x + k s/D of its litter; the error's variance is (1 − k) d/λ, and k²/D for the
    litter. The signs and letters are those of ``reduced_equations``.
    """
    dogs = system.dogs
    record = np.full(len(dogs.number), -1)
    record[records.dog] = np.arange(len(records))
    row = record[places]
    spread = dogs.spread[places]
    weight = np.append(records.weights, 0.0)[row]
    gain = weight * spread / (1.0 + weight * spread)
    alone = (1.0 - gain) * spread
    of_fixed = _picked(system.fixed.rows, row, -gain)
    of_parents = sparse.diags_array(1.0 - gain) @ dogs.share(places)
    if len(system.litter_diagonal) and len(records):
        litter = np.where(row >= 0, records.litter[row], -1)
        share = gain * np.append(1.0 / system.litter_diagonal, 0.0)[litter]
        alone = alone + gain * share
        of_fixed = of_fixed + _picked(system.litter_fixed, litter, share)
        of_parents = of_parents + _picked(system.litter_parents, litter, share)
    return Dependence(sparse.hstack([of_fixed, of_parents], format="csr"), alone)


def _picked(matrix: sparse.csr_array, rows: Codes, scale: Numbers) -> sparse.csr_array:
    """Return rows of a matrix, each times a number; an empty one for −1."""
    known = np.flatnonzero(rows >= 0)
    pick = sparse.coo_array(
        (scale[known], (known, rows[known])), shape=(len(rows), matrix.shape[0])
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
