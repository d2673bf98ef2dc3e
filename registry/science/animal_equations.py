"""The equations of fixed effects and parents at given (co)variances, one trait or several.

With the parents' values given, what is left of a record (Mendelian part, litter, residual) is
independent between litters, so its inverse covariance is sparse and is written down, a dog and a
litter at a time. Solving the equations is the caller's: ``restricted_likelihood`` does so densely,
``breeding_values`` has equations of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
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


class AnimalEquations:
    """The mixed-model equations of a design: M θ = right, θ = fixed effects and parents' values.

    R is the records' covariance given the parents: Mendelian parts and residuals by dog, and
    litters, absorbed as R⁻¹ = B − B W K W′ B with B the dogs' own part. Raises NotPositiveError
    where R or the additive covariance is not positive definite.
    """

    def __init__(self, design: AnimalDesign, covariances: Covariances) -> None:
        self.design = design
        self.covariances = covariances
        self.blocks, log_blocks = _dog_blocks(design, covariances)
        """(m, t, t): B by dog, 0 for traits without a record."""
        self.litter_sums = sum_by(design.litter, self.blocks, design.litters)
        """(L, t, t): W′BW by litter."""
        self.litter_weight, log_litters = self._litters()
        """(L, t, t): K by litter."""
        self.log_residual = log_blocks + log_litters
        """The logarithm of the determinant of R."""
        self._own = _spread(self.blocks, design.row, design.row)
        """(N, N): B."""
        self._to_litter, self._weight = self._litter_terms()
        """(N, L t): BW, and K as one matrix."""
        self.additive_inverse = _inverse(covariances.additive)

    def residual_inverse_times(self, given: Numbers) -> Numbers:
        """Return R⁻¹ times a vector (N,) or some (N, k)."""
        of_litters = self._weight @ (self._to_litter.T @ given)
        product: Numbers = self._own @ given - self._to_litter @ of_litters
        return product

    def records_part(self) -> sparse.csr_array:
        """Return M without the prior of the parents, (b + p t, b + p t).

        The prior, G⁻¹ ⊗ A⁻¹, is added to the parents' block by the caller, in a form of its own.
        """
        effects = self.design.effects
        of_litters = sparse.csr_array(self._to_litter.T @ effects)
        by_own = effects.T @ sparse.csr_array(self._own @ effects)
        return sparse.csr_array(by_own - of_litters.T @ sparse.csr_array(self._weight @ of_litters))

    def right(self) -> Numbers:
        """Return the right-hand side, (b + p t,)."""
        right: Numbers = self.design.effects.T @ self.residual_inverse_times(self.design.y)
        return right

    def projected(self, solution: Numbers) -> Numbers:
        """Return P y, (N,), given the solution."""
        return self.residual_inverse_times(self.design.y - self.design.effects @ solution)

    @cached_property
    def weighted(self) -> sparse.csr_array:
        """R⁻¹ times the records' rows of the design, (N, b + p t)."""
        effects = self.design.effects
        of_litters = self._weight @ sparse.csr_array(self._to_litter.T @ effects)
        return sparse.csr_array(self._own @ effects - self._to_litter @ of_litters)

    def by_dog(self, by_record: Numbers) -> Numbers:
        """Return a number of each record by dog, (m, t); 0 where there is no record."""
        return np.where(self.design.row >= 0, by_record[self.design.row], 0.0)

    def own_blocks(self) -> Numbers:
        """Return R⁻¹ within each dog, (m, t, t)."""
        weight = self.litter_weight[self.design.litter]
        own: Numbers = self.blocks - self.blocks @ weight @ self.blocks
        return own

    def rows_of(self, trait: int) -> sparse.csr_array:
        """Return the rows of ``weighted`` of one trait by dog, (m, b + p t); empty without one."""
        row = self.design.row[:, trait]
        has = np.flatnonzero(row >= 0)
        entries = (np.ones(len(has)), (has, row[has]))
        pick = sparse.csr_array(entries, shape=(len(row), len(self.design.y)))
        return sparse.csr_array(pick @ self.weighted)

    def _litters(self) -> tuple[Numbers, float]:
        """Return K of (Rm + W C W′)⁻¹ = Rm⁻¹ − Rm⁻¹ W K W′ Rm⁻¹, (L, t, t), and its log term."""
        design, litter = self.design, self.covariances.litter
        inner = np.eye(design.traits) + self.litter_sums @ litter
        sign, log = np.linalg.slogdet(inner)
        if not np.all(sign > 0):
            raise NotPositiveError
        weight: Numbers = litter @ np.linalg.inv(inner)
        return weight, float(log.sum())

    def _litter_terms(self) -> tuple[sparse.csr_array, sparse.csr_array]:
        """Return BW and K, without entries where there is no litter variance."""
        design = self.design
        numbers = np.arange(design.litters)[:, None] + design.litters * np.arange(design.traits)
        shape = (len(design.y), design.litters * design.traits)
        if not np.any(self.covariances.litter):
            return sparse.csr_array(shape), sparse.csr_array((shape[1], shape[1]))
        to_litter = _spread(self.blocks, design.row, numbers[design.litter], shape)
        return to_litter, _spread(self.litter_weight, numbers, numbers, (shape[1], shape[1]))


def _inverse(additive: Numbers) -> Numbers:
    try:
        np.linalg.cholesky(additive)
    except np.linalg.LinAlgError:
        raise NotPositiveError from None
    inverse: Numbers = linalg.inv(additive)
    return inverse


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


def sum_by(groups: NDArray[np.int64], values: Numbers, n: int) -> Numbers:
    """Return the sums of the values of each group along the first axis."""
    sums = np.zeros((n, *values.shape[1:]))
    np.add.at(sums, groups, values)
    return sums
