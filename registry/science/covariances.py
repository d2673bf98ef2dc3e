"""How two measured traits of a breed vary together: in genes, in litters and in the rest, by REML.

The same likelihood and climb as for one trait (``restricted_likelihood``, ``reml``), with 2 × 2
matrices that cannot leave the space of covariances. Breeding values that use them are in
``two_traits``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from registry.science.animal_equations import COMPONENTS, Component, Covariances
from registry.science.mixed_model import Records, Variances
from registry.science.pedigree import Pedigree
from registry.science.reml import Maximum, NotEstimableError, is_at_bound, maximise
from registry.science.restricted_likelihood import pairs
from registry.science.variances import (
    StandardErrors,
    TooFewRecordsError,
    check_enough,
    estimate_variances,
    method_of,
    newest,
    sampling_covariance,
    standard_errors,
)

Numbers = NDArray[np.float64]

FEWEST_BOTH = 100
"""Dogs with both records that are wanted (our choice): they alone tell how residuals go along."""
MOST_CORRELATION = 0.95
"""Genetic correlation from which the two traits are as good as one (our choice)."""
_LEAST_START = 0.02
"""Share of its total that a component has at the start, though a trait alone has less of it."""


@dataclass(frozen=True, eq=False)
class CovarianceEstimate:
    """What the records say of two traits' covariances.

    ``errors`` are the standard errors of the elements; ``of_trait`` those of each trait's variances
    and shares. The genetic correlation's error is by the delta method and rough near ±1.
    ``is_at_bound``: a variance is as good as zero, or a correlation as good as ±1.
    """

    covariances: Covariances
    errors: Covariances
    of_trait: tuple[StandardErrors, StandardErrors]
    genetic_correlation: float
    genetic_correlation_error: float
    iterations: int
    log_likelihood: float
    is_at_bound: bool
    has_converged: bool
    records: tuple[int, int]
    method: str

    @property
    def is_sound(self) -> bool:
        """Whether to go by it: converged, and a genetic correlation that is not as good as ±1.

        A correlation of ±1 is what a small breed often shows; it would let each trait's records
        pass for the other's. Then each trait is better analysed by itself (our choice).
        """
        return self.has_converged and abs(self.genetic_correlation) < MOST_CORRELATION

    def variances(self, trait: int) -> Variances:
        """Return the variances of the first (0) or second (1) trait."""
        return Variances(
            additive=float(self.covariances.additive[trait, trait]),
            litter=float(self.covariances.litter[trait, trait]),
            residual=float(self.covariances.residual[trait, trait]),
        )


def estimate_covariances(
    pedigree: Pedigree,
    inbreeding: Numbers,
    first: Records,
    second: Records,
    start: Covariances | None = None,
) -> CovarianceEstimate:
    """Return the REML estimate of the covariances of two traits.

    The litters of both records have the same codes. Raises TooFewRecordsError where one trait alone
    would, below FEWEST_BOTH dogs with both, and where nothing tells the components apart; then
    each trait is analysed by itself.
    """
    traits = [first, second]
    check_enough(pedigree, traits)
    both = len(np.intersect1d(first.dog, second.dog))
    if both < FEWEST_BOTH:
        raise TooFewRecordsError(
            f"{both} dogs with both records; at least {FEWEST_BOTH} are wanted"
        )
    if start is None:
        start = _start(pedigree, inbreeding, traits)
    with threadpool_limits(limits=1, user_api="blas"):
        entered, design = newest(pedigree, inbreeding, traits)
        try:
            maximum = maximise(design, start)
        except NotEstimableError as problem:
            raise TooFewRecordsError(str(problem)) from None
    given = len(first) + len(second)
    method = method_of(maximum, len(design.y), given)
    return _estimate(maximum, (len(entered[0]), len(entered[1])), method)


def _start(pedigree: Pedigree, inbreeding: Numbers, traits: list[Records]) -> Covariances:
    """Return each trait's own estimate, without covariances between them."""
    alone = [estimate_variances(pedigree, inbreeding, records).variances for records in traits]
    least = [_LEAST_START * variances.total for variances in alone]
    parts = {
        name: np.diag([max(getattr(v, name), low) for v, low in zip(alone, least, strict=True)])
        for name in COMPONENTS
    }
    return Covariances(**parts)


def _estimate(maximum: Maximum, records: tuple[int, int], method: str) -> CovarianceEstimate:
    sampling = sampling_covariance(maximum)
    at = {
        (component, element): number
        for number, (component, element) in enumerate(
            (component, element) for component in maximum.components for element in pairs(2)
        )
    }

    def of_trait(trait: int) -> StandardErrors:
        numbers = [at[component, (trait, trait)] for component in maximum.components]
        parts = {
            component: float(maximum.covariances.of(component)[trait, trait])
            for component in maximum.components
        }
        return standard_errors(parts, sampling[np.ix_(numbers, numbers)])

    def error(component: Component) -> Numbers:
        matrix = np.zeros((2, 2))
        if component in maximum.components:
            for s, u in pairs(2):
                number = at[component, (s, u)]
                matrix[s, u] = matrix[u, s] = np.sqrt(sampling[number, number])
        return matrix

    correlation, correlation_error = _correlation(maximum, sampling)
    return CovarianceEstimate(
        covariances=maximum.covariances,
        errors=Covariances(*(error(component) for component in COMPONENTS)),
        of_trait=(of_trait(0), of_trait(1)),
        genetic_correlation=correlation,
        genetic_correlation_error=correlation_error,
        iterations=maximum.steps,
        log_likelihood=maximum.log_likelihood,
        is_at_bound=is_at_bound(maximum.covariances, maximum.components),
        has_converged=maximum.has_converged,
        records=records,
        method=method,
    )


def _correlation(maximum: Maximum, sampling: Numbers) -> tuple[float, float]:
    """Return the genetic correlation and its standard error by the delta method."""
    g = maximum.covariances.additive
    scale = float(np.sqrt(g[0, 0] * g[1, 1]))
    correlation = float(g[0, 1]) / scale
    # The additive elements come first, in the order of ``pairs``: (0, 0), (0, 1), (1, 1).
    slope = np.array([-correlation / (2 * g[0, 0]), 1 / scale, -correlation / (2 * g[1, 1])])
    return correlation, float(np.sqrt(slope @ sampling[:3, :3] @ slope))
