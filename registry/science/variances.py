"""How much of a trait's spread lies in genes, in litters and in the rest, by REML or from a prior.

Decides whether a breed's records can tell, which of them enter, and with what standard errors the
answer comes. The likelihood itself is in ``restricted_likelihood``, the climb in ``reml``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import linalg
from threadpoolctl import threadpool_limits

from registry.science.animal_design import AnimalDesign, parents_of
from registry.science.animal_equations import COMPONENTS, Component, Covariances
from registry.science.fixed_effects import FixedEffects
from registry.science.mixed_model import Records, Variances
from registry.science.pedigree import UNKNOWN, Pedigree
from registry.science.reml import Maximum, NotEstimableError, is_at_bound, maximise

Numbers = NDArray[np.float64]

FEWEST_RECORDS = 200
"""Records below which the trait's prior is the better guess (our choice)."""
FEWEST_FAMILIES = 20
"""Parents with two or more recorded offspring that are wanted (our choice)."""
MOST_RECORDS = 5000
MOST_EQUATIONS = 2000
"""Above either, the newest whole litters enter alone (our choice: some seconds on one core)."""
_START = (0.3, 0.1, 0.6)
_LEAST_SHARE = 1e-3


class TooFewRecordsError(ValueError):
    """The records cannot tell genes, litters and the rest apart; use the trait's prior."""


@dataclass(frozen=True)
class StandardErrors:
    """Standard errors from the average information; the ratios' by the delta method.

    Rough near a bound. Those of the litter are None where no two records share a litter.
    """

    additive: float
    litter: float | None
    residual: float
    heritability: float
    litter_share: float | None


@dataclass(frozen=True)
class Estimate:
    """What the records say of the variances.

    ``is_at_bound``: a variance is as good as zero, so the others took up what it would have held.
    ``free_heritability`` is given when it was the residual and the records ask for a heritability
    above 1 without that bound: that heritability; it says that the model does not fit them.
    ``method`` names the way, and the records that entered where not all did.
    """

    variances: Variances
    errors: StandardErrors
    iterations: int
    log_likelihood: float
    is_at_bound: bool
    has_converged: bool
    records: int
    method: str
    free_heritability: float | None = None

    @property
    def tells_heritability(self) -> bool:
        """Whether genes and the residual both hold some of the spread: at either bound the records
        do not tell how much is inherited. A litter's variance may well be nothing."""
        least = min(self.variances.additive, self.variances.residual)
        return least > _LEAST_SHARE * self.variances.total


def estimate_variances(
    pedigree: Pedigree, inbreeding: Numbers, records: Records, start: Variances | None = None
) -> Estimate:
    """Return the REML estimate of additive, litter and residual variance.

    ``start`` is where the climb begins, such as the last run's variances; the estimate does not
    depend on it. Raises TooFewRecordsError below FEWEST_RECORDS or FEWEST_FAMILIES, and where
    nothing tells the components apart. Runs its linear algebra on one thread, so that a run can be
    repeated bit for bit.
    """
    check_enough(pedigree, [records])
    with threadpool_limits(limits=1, user_api="blas"):
        [entered], design = newest(pedigree, inbreeding, [records])
        first = _start(entered, start)
        try:
            maximum = maximise(design, first)
        except NotEstimableError as problem:
            raise TooFewRecordsError(str(problem)) from None
        return estimate_of(design, maximum, method_of(maximum, len(entered), len(records)))


def prior_variances(records: Records, heritability: float, litter_share: float) -> Variances:
    """Return variances with a given heritability and litter share.

    Their sum is the variance of the records about their fixed effects, or about their mean where
    fixed effects would use up more than half of the records. Raises ValueError for shares that are
    none, and for fewer than two records or records without spread.
    """
    if not (0 < heritability < 1 and litter_share >= 0 and heritability + litter_share < 1):
        raise ValueError(
            f"a heritability of {heritability} and a litter share of {litter_share} leave no"
            " residual: both are shares of one variance and add up to less than 1"
        )
    total = _spread(records)
    if not total > 0:
        raise ValueError("records without spread have no variances: at least two must differ")
    additive, litter = heritability * total, litter_share * total
    return Variances(additive=additive, litter=litter, residual=total - additive - litter)


def estimate_of(design: AnimalDesign, maximum: Maximum, method: str) -> Estimate:
    """Return the estimate of one trait's maximum, with its standard errors."""
    parts = {name: float(maximum.covariances.of(name)[0, 0]) for name in COMPONENTS}
    at_bound = is_at_bound(maximum.covariances, maximum.components)
    free = None
    if at_bound and is_at_bound(maximum.covariances, ("residual",)):
        free = _free_heritability(design, maximum)
    return Estimate(
        variances=Variances(**parts),
        errors=standard_errors(
            {name: parts[name] for name in maximum.components}, sampling_covariance(maximum)
        ),
        iterations=maximum.steps,
        log_likelihood=maximum.log_likelihood,
        is_at_bound=at_bound,
        has_converged=maximum.has_converged,
        records=len(design.y),
        method=method,
        free_heritability=free,
    )


def check_enough(pedigree: Pedigree, traits: list[Records]) -> None:
    """Raise TooFewRecordsError where the records are too few, or of too few families."""
    for records in traits:
        n = len(records)
        if n < FEWEST_RECORDS:
            raise TooFewRecordsError(f"{n} records; at least {FEWEST_RECORDS} are wanted")
        parents = np.concatenate([pedigree.sire[records.dog], pedigree.dam[records.dog]])
        offspring = np.bincount(parents[parents != UNKNOWN])
        families = int(np.count_nonzero(offspring >= 2))
        if families < FEWEST_FAMILIES:
            raise TooFewRecordsError(
                f"{families} parents with two or more recorded offspring;"
                f" at least {FEWEST_FAMILIES} are wanted"
            )


def newest(
    pedigree: Pedigree, inbreeding: Numbers, traits: list[Records]
) -> tuple[list[Records], AnimalDesign]:
    """Return the records that enter an estimate and their design, of bearable size.

    All of them, or the newest whole litters with all their ancestors in the pedigree. Newest is by
    the code of the effect "year", where there is one, and by the dog's place. Raises
    TooFewRecordsError where those hold fewer than FEWEST_RECORDS.
    """
    rank = _newness(len(pedigree), traits)
    most = MOST_RECORDS
    while True:
        litters = min(_whole_litters(rank[records.dog], most) for records in traits)
        entered = [subset(records, rank[records.dog] < litters) for records in traits]
        least = min(len(records) for records in entered)
        if least < FEWEST_RECORDS:
            raise TooFewRecordsError(f"the newest litters that can enter hold {least} records")
        fixed = sum(len(FixedEffects.of(records.fixed, records.age)) for records in entered)
        parents = len(parents_of(pedigree, entered))
        if fixed + parents * len(traits) <= MOST_EQUATIONS:
            return entered, AnimalDesign.of_recorded(pedigree, inbreeding, entered)
        most = int(0.8 * max(len(records) for records in entered))


def _newness(n: int, traits: list[Records]) -> NDArray[np.int64]:
    """Return for the dog at each place how many litters are newer than its own, (n,)."""
    year = np.full(n, -1, dtype=np.int64)
    litter = np.full(n, -1, dtype=np.int64)
    is_recorded = np.zeros(n, dtype=bool)
    for records in traits:
        is_recorded[records.dog] = True
        litter[records.dog] = np.maximum(litter[records.dog], records.litter)
        if "year" in records.fixed:
            year[records.dog] = np.maximum(year[records.dog], records.fixed["year"])
    dogs = np.flatnonzero(is_recorded)
    alone = litter[dogs] < 0
    litter[dogs[alone]] = litter.max(initial=-1) + 1 + np.arange(np.count_nonzero(alone))
    newest_first = dogs[np.lexsort((dogs, year[dogs]))[::-1]]
    _, first, at = np.unique(litter[newest_first], return_index=True, return_inverse=True)
    rank = np.full(n, -1, dtype=np.int64)
    rank[newest_first] = np.argsort(np.argsort(first))[at]
    return rank


def _whole_litters(ranks: NDArray[np.int64], most: int) -> int:
    """Return how many of the newest litters hold at most ``most`` records."""
    up_to = np.cumsum(np.bincount(ranks))
    return int(np.searchsorted(up_to, most, side="right"))


def subset(records: Records, kept: NDArray[np.bool_] | NDArray[np.int64]) -> Records:
    """Return some of the records: a mask, or their numbers in the order wanted."""
    return replace(
        records,
        dog=records.dog[kept],
        value=records.value[kept],
        fixed={name: codes[kept] for name, codes in records.fixed.items()},
        age=records.age[kept],
        litter=records.litter[kept],
        weight=None if records.weight is None else records.weight[kept],
    )


def _start(records: Records, start: Variances | None) -> Covariances:
    if start is None:
        total = _spread(records)
        if not total > 0:
            raise TooFewRecordsError("the records do not differ")
        start = Variances(*(share * total for share in _START))
    parts = [np.array([[value]]) for value in (start.additive, start.litter, start.residual)]
    return Covariances(*parts)


def _spread(records: Records) -> float:
    """Return the variance of the records about their fixed effects, or about their mean."""
    n = len(records)
    if n < 2:
        return 0.0
    x = FixedEffects.of(records.fixed, records.age).rows
    if 2 * x.shape[1] > n:
        left, freedom = records.value - records.value.mean(), n - 1
    else:
        products = (x.T @ x).toarray()
        left = records.value - x @ np.linalg.solve(products, x.T @ records.value)
        freedom = n - x.shape[1]
    # What rounding leaves of records that the fixed effects explain wholly is no spread.
    is_nothing = np.abs(left).max() <= 1e-10 * np.abs(records.value).max()
    return 0.0 if is_nothing else float(left @ left / freedom)


def sampling_covariance(maximum: Maximum) -> Numbers:
    """Return the inverse information; its flat directions, if any at a bound, count as known."""
    covariance: Numbers = linalg.pinvh(maximum.information)
    return covariance


def standard_errors(parts: Mapping[Component, float], covariance: Numbers) -> StandardErrors:
    """Return the standard errors of one trait's variances and their shares.

    ``parts`` are the estimated variances, in the order of their sampling ``covariance``.
    """
    names = list(parts)
    total = sum(parts.values())

    def share_error(name: Component) -> float:
        slope = np.full(len(names), -parts[name] / total**2)
        slope[names.index(name)] += 1 / total
        return float(np.sqrt(max(0.0, slope @ covariance @ slope)))

    error = dict(zip(names, np.sqrt(np.diag(covariance)).tolist(), strict=True))
    return StandardErrors(
        additive=error["additive"],
        litter=error.get("litter"),
        residual=error["residual"],
        heritability=share_error("additive"),
        litter_share=share_error("litter") if "litter" in parts else None,
    )


def _free_heritability(design: AnimalDesign, maximum: Maximum) -> float | None:
    """Return the heritability without the residual's bound, or None where there is no maximum."""
    try:
        free = maximise(design, maximum.covariances, residual_may_be_negative=True)
    except NotEstimableError:
        return None
    parts = [float(free.covariances.of(name)[0, 0]) for name in COMPONENTS]
    heritability = parts[0] / sum(parts)
    return heritability if free.has_converged and heritability > 1 else None


def method_of(maximum: Maximum, entered: int, given: int) -> str:
    """Return in words how an estimate was made, from how many of the given records."""
    method = "REML by average information"
    if "litter" not in maximum.components:
        method += ", without litters (no two records share one)"
    if entered < given:
        method += f", from the newest {entered} of {given} records in whole litters"
    if not maximum.has_converged:
        method += f"; not converged after {maximum.steps} steps"
    return method
