"""The restricted likelihood of an animal model at given (co)variances, and its derivatives.

One trait or several: covariances are t × t matrices. With V the records' covariance and
P = V⁻¹ − V⁻¹X(X′V⁻¹X)⁻X′V⁻¹, everything here is exact, and everything is taken from the equations
of fixed effects and parents (``animal_equations``), never from the N × N matrix V. Climbing to the
maximum is ``reml``. Sources: Patterson & Thompson (1971), Biometrika 58:545-554 (the likelihood);
Gilmour, Thompson & Cullis (1995), Biometrics 51:1440-1450 (average information).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from registry.science.animal_design import AnimalDesign
from registry.science.animal_equations import (
    AnimalEquations,
    Component,
    Covariances,
    NotPositiveError,
    sum_by,
)

Numbers = NDArray[np.float64]


class LikelihoodPoint:
    """The restricted likelihood of a design of recorded dogs, at one set of covariances.

    Raises NotPositiveError where the records would have no positive definite covariance.
    """

    def __init__(self, design: AnimalDesign, covariances: Covariances) -> None:
        self.design = design
        self.covariances = covariances
        self.equations = AnimalEquations(design, covariances)
        matrix = self.equations.records_part().toarray()
        matrix[design.fixed :, design.fixed :] += np.kron(
            self.equations.additive_inverse, design.relationship_inverse
        )
        self._factor = (_factor(matrix), True)
        self.solution: Numbers = linalg.cho_solve(self._factor, self.equations.right())
        """(b + p t,): fixed effects, then the parents' values trait by trait."""
        self.py = self.equations.projected(self.solution)
        """(N,): P y."""
        log_equations = 2 * float(np.log(np.diag(self._factor[0])).sum())
        log_additive = design.traits * design.log_relationship + len(design.parents) * float(
            np.linalg.slogdet(covariances.additive)[1]
        )
        freedom = len(design.y) - design.fixed
        self.log_likelihood = -0.5 * (
            self.equations.log_residual
            + log_equations
            + log_additive
            + float(design.y @ self.py)
            + freedom * float(np.log(2 * np.pi))
        )

    @cached_property
    def inverse(self) -> Numbers:
        """The inverse (b + p t, b + p t) of the equations: error covariances of the unknowns."""
        lower, info = linalg.lapack.dpotri(self._factor[0], lower=1)
        if info:
            raise NotPositiveError
        lower = np.tril(lower)
        full: Numbers = lower + np.tril(lower, -1).T
        return full

    @cached_property
    def parent_values(self) -> Numbers:
        """The parents' breeding values, (p, t)."""
        values: Numbers = self.solution[self.design.fixed :].reshape(self.design.traits, -1).T
        return values

    @cached_property
    def dog_py(self) -> Numbers:
        """P y by dog, (m, t); 0 where there is no record."""
        return self.equations.by_dog(self.py)

    @cached_property
    def scores(self) -> Mapping[Component, Numbers]:
        """The derivatives: (t, t) matrices S with d log L = trace(S dΣ) for each component."""
        design = self.design
        py, litter_py = self.dog_py, sum_by(design.litter, self.dog_py, design.litters)
        sums, own = self.equations.litter_sums, self.equations.own_blocks()
        litters = sums - sums @ self.equations.litter_weight @ sums
        by_trait = [self.equations.rows_of(trait) for trait in range(design.traits)]
        gather = sparse.csr_array(
            (np.ones(len(design.dogs)), (design.litter, np.arange(len(design.dogs)))),
            shape=(design.litters, len(design.dogs)),
        )
        by_litter = [sparse.csr_array(gather @ rows) for rows in by_trait]
        everywhere = np.ones(len(design.dogs))
        d = design.mendelian
        residual = own.sum(axis=0) - self._traces(by_trait, everywhere) - py.T @ py
        mendelian = np.tensordot(d, own, 1) - self._traces(by_trait, d) - py.T @ (d[:, None] * py)
        shared = (
            litters.sum(axis=0)
            - self._traces(by_litter, np.ones(design.litters))
            - litter_py.T @ litter_py
        )
        return {
            "additive": -0.5 * (self._parents_part() + mendelian),
            "litter": -0.5 * shared,
            "residual": -0.5 * residual,
        }

    def _parents_part(self) -> Numbers:
        """Return p G⁻¹ − G⁻¹ (trace(A⁻¹ C) + û′A⁻¹û) G⁻¹, (t, t)."""
        design, values = self.design, self.parent_values
        p, b = len(design.parents), design.fixed
        inside = values.T @ (design.relationship_inverse @ values)
        for s in range(design.traits):
            for u in range(design.traits):
                rows, columns = (slice(b + each * p, b + each * p + p) for each in (s, u))
                inside[s, u] += np.vdot(design.relationship_inverse, self.inverse[rows, columns])
        g = self.equations.additive_inverse
        part: Numbers = p * g - g @ inside @ g
        return part

    def _traces(self, rows: list[sparse.csr_array], weight: Numbers) -> Numbers:
        """Return Σ weight_i q_si′ M⁻¹ q_ui for each two traits s and u, (t, t)."""
        found = np.empty((len(rows), len(rows)))
        for s, u in combinations_with_replacement(range(len(rows)), 2):
            products = sparse.coo_array(rows[s].T @ (sparse.diags_array(weight) @ rows[u]))
            at = self.inverse[products.coords[0], products.coords[1]]
            found[s, u] = found[u, s] = float(products.data @ at)
        return found

    def average_information(self, components: tuple[Component, ...]) -> Numbers:
        """Return the average information (k, k) of the elements s ≤ u of each component in turn."""
        design = self.design
        litter_py = sum_by(design.litter, self.dog_py, design.litters)
        genes = self.parent_values @ self.equations.additive_inverse
        working = []
        for component in components:
            for s, u in pairs(design.traits):
                unit = np.zeros((design.traits, design.traits))
                unit[s, u] = unit[u, s] = 1.0
                if component == "additive":
                    own = design.mendelian[:, None] * self.dog_py
                    by_dog = design.transmission @ (genes @ unit) + own @ unit
                elif component == "litter":
                    by_dog = (litter_py @ unit)[design.litter]
                else:
                    by_dog = self.dog_py @ unit
                working.append(self._by_record(by_dog))
        f = np.stack(working, axis=1)
        times, effects = self.equations.residual_inverse_times, design.effects
        fitted = linalg.cho_solve(self._factor, effects.T @ times(f))
        projected = times(f - effects @ fitted)
        information: Numbers = 0.5 * f.T @ projected
        return information

    def _by_record(self, by_dog: Numbers) -> Numbers:
        found = np.empty(len(self.design.y))
        has = self.design.row >= 0
        found[self.design.row[has]] = by_dog[has]
        return found


def pairs(traits: int) -> list[tuple[int, int]]:
    """Return the elements s ≤ u of a symmetric matrix, in the order all vectors here have."""
    return list(combinations_with_replacement(range(traits), 2))


def _factor(matrix: Numbers) -> Numbers:
    """Return the lower Cholesky factor, in the matrix's own memory."""
    try:
        factor: Numbers = linalg.cholesky(matrix, lower=True, overwrite_a=True, check_finite=False)
    except linalg.LinAlgError:
        raise NotPositiveError from None
    return factor
