"""The restricted likelihood of an animal model at given (co)variances, and its derivatives.

One trait or several: covariances are t × t matrices. With V the records' covariance and
P = V⁻¹ − V⁻¹X(X′V⁻¹X)⁻X′V⁻¹, everything here is exact, and everything is taken from the equations
of fixed effects and parents (``animal_design``), never from the N × N matrix V. Climbing to the
maximum is ``reml``. Sources: Patterson & Thompson (1971), Biometrika 58:545-554 (the likelihood);
Gilmour, Thompson & Cullis (1995), Biometrics 51:1440-1450 (average information).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations_with_replacement
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from registry.science.animal_design import AnimalDesign

Numbers = NDArray[np.float64]
Component = Literal["additive", "litter", "residual"]
COMPONENTS: tuple[Component, ...] = ("additive", "litter", "residual")


@dataclass(frozen=True, eq=False)
class Covariances:
    """Additive, litter and residual covariance matrices of t traits, each (t, t)."""

    additive: Numbers
    litter: Numbers
    residual: Numbers

    def of(self, component: Component) -> Numbers:
        """Return one of the three matrices."""
        matrix: Numbers = getattr(self, component)
        return matrix


class NotPositiveError(ValueError):
    """With these (co)variances, what is left for some dog or parent is no covariance."""


class LikelihoodPoint:
    """The restricted likelihood at one set of covariances.

    Raises NotPositiveError where the records would have no positive definite covariance.
    """

    def __init__(self, design: AnimalDesign, covariances: Covariances) -> None:
        self.design = design
        self.covariances = covariances
        self._blocks, log_blocks = _dog_blocks(design, covariances)
        self._litter_weight, log_litters = self._litters()
        self._r_inverse = self._residual_inverse()
        self._weighted = sparse.csr_array(self._r_inverse @ design.effects)
        self._factor = (self._equations(), True)
        right = self._weighted.T @ design.y
        self.solution: Numbers = linalg.cho_solve(self._factor, right)
        """(b + p t,): fixed effects, then the parents' values trait by trait."""
        self.py: Numbers = self._r_inverse @ design.y - self._weighted @ self.solution
        """(N,): P y."""
        log_equations = 2 * float(np.log(np.diag(self._factor[0])).sum())
        log_additive = design.traits * design.log_relationship + len(design.parents) * float(
            np.linalg.slogdet(covariances.additive)[1]
        )
        freedom = len(design.y) - design.fixed
        self.log_likelihood = -0.5 * (
            log_blocks
            + log_litters
            + log_equations
            + log_additive
            + float(design.y @ self.py)
            + freedom * float(np.log(2 * np.pi))
        )

    def _litters(self) -> tuple[Numbers, float]:
        """Return K of (Rm + W C W′)⁻¹ = Rm⁻¹ − Rm⁻¹ W K W′ Rm⁻¹, (L, t, t), and its log term."""
        design, litter = self.design, self.covariances.litter
        self._litter_sums = _sum_by(design.litter, self._blocks, design.litters)
        inner = np.eye(design.traits) + self._litter_sums @ litter
        sign, log = np.linalg.slogdet(inner)
        if not np.all(sign > 0):
            raise NotPositiveError
        weight: Numbers = litter @ np.linalg.inv(inner)
        return weight, float(log.sum())

    def _residual_inverse(self) -> sparse.csr_array:
        """Return the inverse (N, N) of the covariance given the parents, sparse."""
        design = self.design
        own = _spread(self._blocks, design.row, design.row)
        if not np.any(self.covariances.litter):
            return own
        columns = design.litter[:, None] + design.litters * np.arange(design.traits)
        shape = (len(design.y), design.litters * design.traits)
        to_litter = _spread(self._blocks, design.row, columns, shape)
        numbers = np.arange(design.litters)[:, None] + design.litters * np.arange(design.traits)
        weight = _spread(self._litter_weight, numbers, numbers)
        return sparse.csr_array(own - to_litter @ weight @ to_litter.T)

    def _equations(self) -> Numbers:
        """Return the Cholesky factor of the equations of fixed effects and parents."""
        design = self.design
        matrix = (design.effects.T @ self._weighted).toarray()
        prior = sparse.kron(self._additive_inverse, design.relationship_inverse)
        matrix[design.fixed :, design.fixed :] += prior.toarray()
        try:
            factor: Numbers = linalg.cholesky(
                matrix, lower=True, overwrite_a=True, check_finite=False
            )
        except linalg.LinAlgError:
            raise NotPositiveError from None
        return factor

    @cached_property
    def _additive_inverse(self) -> Numbers:
        try:
            np.linalg.cholesky(self.covariances.additive)
        except np.linalg.LinAlgError:
            raise NotPositiveError from None
        inverse: Numbers = linalg.inv(self.covariances.additive)
        return inverse

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
        return np.where(self.design.row >= 0, self.py[self.design.row], 0.0)

    @cached_property
    def scores(self) -> Mapping[Component, Numbers]:
        """The derivatives: (t, t) matrices S with d log L = trace(S dΣ) for each component."""
        design = self.design
        py, litter_py = self.dog_py, _sum_by(design.litter, self.dog_py, design.litters)
        sums, weight = self._litter_sums, self._litter_weight
        own = self._blocks - self._blocks @ weight[design.litter] @ self._blocks
        litters = sums - sums @ weight @ sums
        by_trait = [self._select(trait) for trait in range(design.traits)]
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
        links = sparse.coo_array(design.relationship_inverse)
        inside = values.T @ (design.relationship_inverse @ values)
        for s in range(design.traits):
            for u in range(design.traits):
                errors = self.inverse[b + s * p + links.coords[0], b + u * p + links.coords[1]]
                inside[s, u] += float(links.data @ errors)
        g = self._additive_inverse
        part: Numbers = p * g - g @ inside @ g
        return part

    def _select(self, trait: int) -> sparse.csr_array:
        """Return the rows of R⁻¹ S of one trait by dog, (m, b + p t); empty without a record."""
        row = self.design.row[:, trait]
        has = np.flatnonzero(row >= 0)
        entries = (np.ones(len(has)), (has, row[has]))
        pick = sparse.csr_array(entries, shape=(len(row), len(self.design.y)))
        return sparse.csr_array(pick @ self._weighted)

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
        litter_py = _sum_by(design.litter, self.dog_py, design.litters)
        genes = self.parent_values @ self._additive_inverse
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
        projected = self._r_inverse @ f - self._weighted @ linalg.cho_solve(
            self._factor, self._weighted.T @ f
        )
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


def _dog_blocks(design: AnimalDesign, covariances: Covariances) -> tuple[Numbers, float]:
    """Return each dog's inverse of residual + Mendelian covariance, (m, t, t), and the log term.

    Rows and columns of traits without a record are 0.
    """
    blocks = covariances.residual + design.mendelian[:, None, None] * covariances.additive
    has = design.row >= 0
    both = has[:, :, None] & has[:, None, :]
    filled = np.where(both, blocks, np.eye(design.traits))
    try:
        factors = np.linalg.cholesky(filled)
    except np.linalg.LinAlgError:
        raise NotPositiveError from None
    log = 2 * float(np.log(np.diagonal(factors, axis1=1, axis2=2)).sum())
    return np.where(both, np.linalg.inv(filled), 0.0), log


def _spread(
    blocks: Numbers,
    rows: NDArray[np.int64],
    columns: NDArray[np.int64],
    shape: tuple[int, int] | None = None,
) -> sparse.csr_array:
    """Return (k, t, t) blocks as one sparse matrix; each is at its (k, t) rows and columns."""
    at_row = np.broadcast_to(rows[:, :, None], blocks.shape)
    at_column = np.broadcast_to(columns[:, None, :], blocks.shape)
    is_there = (at_row >= 0) & (at_column >= 0) & (blocks != 0)
    if shape is None:
        shape = (int(rows.max()) + 1, int(columns.max()) + 1)
    entries = (blocks[is_there], (at_row[is_there], at_column[is_there]))
    return sparse.csr_array(entries, shape=shape)


def _sum_by(groups: NDArray[np.int64], values: Numbers, n: int) -> Numbers:
    """Return the sums of the values of each group along the first axis."""
    sums = np.zeros((n, *values.shape[1:]))
    np.add.at(sums, groups, values)
    return sums
