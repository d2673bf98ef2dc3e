"""Error variances of all dogs of a large breed, without an inverse.

Two parts are added up. What relatives and records say, were the fixed effects known, comes from
``litter_messages``: nearly exact. What the estimated fixed effects add is exact, given that: it
needs a system solved for each of them. In the largest breeds the levels of the largest effect
(clinics, mostly) are too many for it: there each has many records, and it is enough that they take
their share off the records' weights, that a dog's own level adds its error to what its own record
says, and that their common mean is one column.
"""

from __future__ import annotations

import numpy as np
from scipy import linalg, sparse

from registry.science.conjugate_gradients import conjugate_gradients
from registry.science.litter_messages import Litters, settled
from registry.science.mixed_model import Numbers, Records, Variances
from registry.science.reduced_equations import ReducedEquations
from registry.science.reliabilities import Errors, dependence

_NUMBERS = 4_000_000
"""Numbers in a dense matrix that is still small beside the equations."""


def approximate_error_variances(
    system: ReducedEquations, inbreeding: Numbers, records: Records, variances: Variances
) -> Errors:
    """Return how well every dog's value and the fixed effects are known."""
    dogs, fixed = system.dogs, _FixedError(system)
    weight = fixed.left_of(system)
    weight *= system.weight
    litters = Litters.of(dogs, inbreeding, records, weight, variances)
    gain = np.zeros(len(dogs.number))
    gain[records.dog] = 1.0 - system.weight / records.weights
    found = settled(litters).of_values(litters, dogs.spread, gain)
    found[litters.place] += fixed.of_parents()
    childless = np.flatnonzero(dogs.number == dogs.parents)
    rows = _NUMBERS // max(fixed.columns, 60)
    for first in range(0, len(childless), rows):
        places = childless[first : first + rows]
        found[places] += fixed.of(dependence(system, records, places).lines)
    return Errors(variances.residual * found, variances.residual * fixed.covariance())


class _FixedError:
    """What the estimation of the fixed effects adds to the variances: q S⁻¹ q′.

    Over all columns of X, or over few: the levels of the largest effect together, the others alone.
    """

    def __init__(self, system: ReducedEquations) -> None:
        p, m = len(system.fixed), system.dogs.parents
        self._levels = system.fixed.carrier_levels if p * m > _NUMBERS else 0
        few = np.maximum(np.arange(p) - max(self._levels - 1, 0), 0)
        shape = p, int(few.max(initial=-1)) + 1
        self._few = sparse.coo_array((np.ones(p), (np.arange(p), few)), shape=shape).tocsr()
        self._level_weight = np.diag(system.fixed_block)[: self._levels]
        beside = (system.beside @ self._few).toarray()
        block = system.parents_block
        solved = conjugate_gradients(block.__matmul__, block.diagonal(), beside, tolerance=1e-4)
        self._hanging = solved.solution
        left = self._few.T @ system.fixed_block @ self._few - beside.T @ solved.solution
        self._factor = linalg.cholesky((left + left.T) / 2, lower=True) if p else left

    @property
    def columns(self) -> int:
        """The number of columns that are reckoned with."""
        return int(self._few.shape[1])

    def covariance(self) -> Numbers:
        """Return the sampling covariances of the fixed effects, (p, p).

        Levels taken together share their mean's error, and each has one of its own.
        """
        few = self._few.toarray()
        if not few.shape[1]:
            return np.zeros((len(few), len(few)))
        together = linalg.cho_solve((self._factor, True), few.T)
        found: Numbers = few @ together
        levels = np.arange(self._levels)
        found[levels, levels] += 1.0 / self._level_weight
        return found

    def of_parents(self) -> Numbers:
        """Return what it adds to each parent's variance, (m,)."""
        return self._squared(self._hanging)

    def of(self, lines: sparse.csr_array) -> Numbers:
        """Return what it adds to values that hang on the solution by ``lines``, (j, p + m)."""
        columns = lines.tocsc()
        fixed, parents = np.split(np.arange(columns.shape[1]), [self._few.shape[0]])
        of_fixed = columns[:, fixed]
        own_level = of_fixed[:, : self._levels].power(2) @ (1.0 / self._level_weight)
        together = (of_fixed @ self._few).toarray() - columns[:, parents] @ self._hanging
        return np.asarray(own_level + self._squared(together))

    def left_of(self, system: ReducedEquations) -> Numbers:
        """Return the part that the levels of the largest effect leave of each record, (r,)."""
        sums = system.group_fixed[:, : self._levels]
        taken = sums.power(2) @ (1.0 / self._level_weight)
        left = np.ones(len(taken))
        np.divide(taken, system.group_weight, out=left, where=system.group_weight > 0)
        return np.asarray(np.maximum(1.0 - left, 0.0)[system.group])

    def _squared(self, rows: Numbers) -> Numbers:
        if not rows.shape[1]:
            return np.zeros(len(rows))
        turned = linalg.solve_triangular(self._factor, rows.T, lower=True)
        return np.asarray((turned**2).sum(axis=0))
