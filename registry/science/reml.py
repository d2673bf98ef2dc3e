"""The maximum of the restricted likelihood: from start covariances to the estimate.

Newton steps with the average information, in the Cholesky roots of the covariance matrices, so that
no step can leave the space of covariances: a variance that the records put at zero is reached as
the root goes to zero, in few steps. A step that does not raise the likelihood is halved, and where
halving fails an expectation-maximisation step is taken, which cannot lower it. Sources: Gilmour,
Thompson & Cullis (1995), Biometrics 51:1440-1450; Dempster, Laird & Rubin (1977), J R Stat Soc B
39:1-38; roots as parameters after Pinheiro & Bates (1996), Stat Comput 6:289-296.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from registry.science.animal_design import AnimalDesign
from registry.science.animal_equations import Component, Covariances, NotPositiveError
from registry.science.restricted_likelihood import LikelihoodPoint, pairs

Numbers = NDArray[np.float64]

MOST_STEPS = 100
_GAIN = 1e-9
"""Log-likelihood that one more step promises, below which the maximum is reached."""
_HALVINGS = 12
_SMALLEST = 1e-7
"""A variance is kept above this share of the trait's total: below, it is zero for any use."""
AT_BOUND = 1e-4
"""A variance under this share of its total, or a correlation this close to 1, is at its bound."""
_SINGULAR = 1e-9


class NotEstimableError(ValueError):
    """The records do not tell the components apart."""


@dataclass(frozen=True, eq=False)
class Maximum:
    """Where the climb ended. ``information`` has the order of ``pairs`` in each component."""

    covariances: Covariances
    components: tuple[Component, ...]
    information: Numbers
    log_likelihood: float
    steps: int
    """Steps taken; ``em_steps`` of them by expectation-maximisation."""
    em_steps: int
    has_converged: bool


def maximise(
    design: AnimalDesign, start: Covariances, *, residual_may_be_negative: bool = False
) -> Maximum:
    """Return the maximum of the restricted likelihood, climbing from ``start``.

    A model without shared litters has no litter component. ``residual_may_be_negative`` lets go of
    the bound of the residual as long as every record keeps a positive variance; it shows what a
    bounded estimate hides. Raises NotEstimableError where the records don't tell genes, litters
    and residual apart.
    """
    climb = _Climb(design, residual_may_be_negative)
    point = LikelihoodPoint(design, climb.within(start))
    _check(point, climb.components)
    em_steps = 0
    for step in range(MOST_STEPS):
        gain, direction = climb.direction(point)
        if gain < _GAIN:
            # The last step is too small to be judged by the likelihood: it is taken on trust.
            return _maximum(
                climb, climb.step(point, direction) or point, step + 1, em_steps, has_converged=True
            )
        found = climb.along(point, direction)
        if found is None:
            found = climb.by_expectation(point)
            em_steps += 1
            if found is None or found.log_likelihood - point.log_likelihood < _GAIN:
                return _maximum(climb, point, step, em_steps, has_converged=True)
        point = found
    return _maximum(climb, point, MOST_STEPS, em_steps, has_converged=False)


class _Climb:
    """The steps of one climb. A parameter is one element of a component's root, or of itself."""

    def __init__(self, design: AnimalDesign, residual_may_be_negative: bool) -> None:
        self.design = design
        self.components: tuple[Component, ...] = (
            ("additive", "litter", "residual") if design.has_litters else ("additive", "residual")
        )
        self.plain: tuple[Component, ...] = ("residual",) if residual_may_be_negative else ()
        self.smallest = np.full(design.traits, _SMALLEST)

    def within(self, start: Covariances) -> Covariances:
        """Return start covariances fit for the climb: a litter part only where there is one."""
        self.smallest = _SMALLEST * _totals(start)
        if not self.design.has_litters:
            start = replace(
                start, residual=start.residual + start.litter, litter=np.zeros_like(start.litter)
            )
        return start

    def direction(self, point: LikelihoodPoint) -> tuple[float, Numbers]:
        """Return the promised gain and the Newton step in the parameters."""
        turn, gradient, bend = [], [], []
        for component in self.components:
            score = point.scores[component]
            to_elements, slope, curvature = self._root_terms(point, component, score)
            turn.append(to_elements)
            gradient.append(slope)
            bend.append(curvature)
        jacobian, curvature = _block_diagonal(turn), _block_diagonal(bend)
        information = point.average_information(self.components)
        hessian = jacobian.T @ information @ jacobian + curvature
        slope = np.concatenate(gradient)
        pinned = (slope < 0) & self._smallest_roots(point.covariances)
        slope[pinned] = 0.0
        hessian[pinned] = hessian[:, pinned] = 0.0
        hessian[pinned, pinned] = 1.0
        scale = np.sqrt(np.maximum(np.diag(hessian), np.finfo(float).tiny))
        scaled = hessian / np.outer(scale, scale) + 1e-10 * np.eye(len(scale))
        step = np.linalg.solve(scaled, slope / scale) / scale
        return 0.5 * float(slope @ step), step

    def _smallest_roots(self, covariances: Covariances) -> NDArray[np.bool_]:
        """Return which parameters stand at the least a root's diagonal may be."""
        is_least = []
        for component in self.components:
            for j, i in pairs(self.design.traits):
                if i != j or component in self.plain:
                    is_least.append(False)
                    continue
                root = np.linalg.cholesky(covariances.of(component))
                is_least.append(root[i, i] <= 1.001 * np.sqrt(self.smallest[i]))
        return np.array(is_least)

    def _root_terms(
        self, point: LikelihoodPoint, component: Component, score: Numbers
    ) -> tuple[Numbers, Numbers, Numbers]:
        """Return d elements / d parameters, the slope, and the curvature that is sure to be ≥ 0."""
        t = self.design.traits
        elements = pairs(t)
        if component in self.plain:
            double = np.array([1.0 if s == u else 2.0 for s, u in elements])
            slope = double * np.array([score[s, u] for s, u in elements])
            return np.eye(len(elements)), slope, np.zeros((len(elements), len(elements)))
        root = np.linalg.cholesky(point.covariances.of(component))
        # At a bound −S is ≥ 0, and it is all that keeps the step finite where a root goes to 0.
        values, vectors = np.linalg.eigh(-score)
        pull = (vectors * np.maximum(values, 0.0)) @ vectors.T
        parameters = [(i, j) for j, i in elements]
        to_elements = np.zeros((len(elements), len(parameters)))
        curvature = np.zeros((len(parameters), len(parameters)))
        slope = np.empty(len(parameters))
        for at, (i, j) in enumerate(parameters):
            change = np.zeros((t, t))
            change[i] += root[:, j]
            change[:, i] += root[:, j]
            to_elements[:, at] = [change[s, u] for s, u in elements]
            slope[at] = 2 * float(score[i] @ root[:, j])
            for other, (k, m) in enumerate(parameters):
                curvature[at, other] = 2 * pull[i, k] * (j == m)
        return to_elements, slope, curvature

    def along(self, point: LikelihoodPoint, step: Numbers) -> LikelihoodPoint | None:
        """Return a higher point along the step, halving it, or None."""
        for halving in range(_HALVINGS):
            found = self.step(point, step * 0.5**halving)
            if found is not None and found.log_likelihood > point.log_likelihood:
                return found
        return None

    def step(self, point: LikelihoodPoint, step: Numbers) -> LikelihoodPoint | None:
        """Return the point one step away, or None where there is none."""
        return self._point(self._moved(point.covariances, step))

    def _moved(self, covariances: Covariances, step: Numbers) -> Covariances:
        moved = {}
        elements = pairs(self.design.traits)
        for component, part in zip(
            self.components, np.split(step, len(self.components)), strict=True
        ):
            matrix = covariances.of(component)
            change = np.zeros_like(matrix)
            if component in self.plain:
                for (s, u), by in zip(elements, part, strict=True):
                    change[s, u] = change[u, s] = by
                moved[component] = matrix + change
                continue
            for (j, i), by in zip(elements, part, strict=True):
                change[i, j] = by
            root = np.linalg.cholesky(matrix) + change
            least = np.sqrt(self.smallest)
            # The sign of a column of a root is free.
            diagonal = np.maximum(np.abs(np.diag(root)), least)
            root = root * np.where(np.diag(root) < 0, -1.0, 1.0)
            np.fill_diagonal(root, diagonal)
            moved[component] = root @ root.T
        return replace(covariances, **moved)

    def by_expectation(self, point: LikelihoodPoint) -> LikelihoodPoint | None:
        """Return the point after one step of expectation-maximisation: Σ + (2 / q) Σ S Σ."""
        numbers = {
            "additive": self.design.genes,
            "litter": self.design.litters,
            "residual": len(self.design.dogs),
        }
        moved = {}
        for component in self.components:
            matrix = point.covariances.of(component)
            change = matrix @ point.scores[component] @ matrix
            moved[component] = matrix + (2 / numbers[component]) * (change + change.T) / 2
        return self._point(replace(point.covariances, **moved))

    def _point(self, covariances: Covariances) -> LikelihoodPoint | None:
        try:
            return LikelihoodPoint(self.design, covariances)
        except NotPositiveError:
            return None


def is_at_bound(covariances: Covariances, components: tuple[Component, ...]) -> bool:
    """Return whether a variance is as good as zero, or a correlation as good as 1."""
    total = np.sqrt(_totals(covariances))
    for component in components:
        matrix = covariances.of(component)
        least = float(np.linalg.eigvalsh(matrix / np.outer(total, total))[0])
        if least < AT_BOUND:
            return True
    return False


def _maximum(
    climb: _Climb, point: LikelihoodPoint, steps: int, em_steps: int, *, has_converged: bool
) -> Maximum:
    return Maximum(
        covariances=point.covariances,
        components=climb.components,
        information=point.average_information(climb.components),
        log_likelihood=point.log_likelihood,
        steps=steps,
        em_steps=em_steps,
        has_converged=has_converged,
    )


def _check(point: LikelihoodPoint, components: tuple[Component, ...]) -> None:
    """Refuse records that say nothing of some component, or of some mixture of them."""
    total = _totals(point.covariances)
    size = np.tile([np.sqrt(total[s] * total[u]) for s, u in pairs(len(total))], len(components))
    information = point.average_information(components) * np.outer(size, size)
    if np.diag(information).min() < _SINGULAR:
        raise NotEstimableError("the records say nothing of one of the variances")
    scale = np.sqrt(np.diag(information))
    if float(np.linalg.eigvalsh(information / np.outer(scale, scale))[0]) < _SINGULAR:
        raise NotEstimableError(
            "the records do not tell genes, litters and residual apart:"
            " they need relatives of several degrees"
        )


def _totals(covariances: Covariances) -> Numbers:
    """Return each trait's total variance, (t,)."""
    return np.diag(covariances.additive + covariances.litter + covariances.residual)


def _block_diagonal(blocks: list[Numbers]) -> Numbers:
    size = sum(len(block) for block in blocks)
    whole = np.zeros((size, size))
    first = 0
    for block in blocks:
        end = first + len(block)
        whole[first:end, first:end] = block
        first = end
    return whole
