"""What a run finds of a trait of ordered grades: variances and values of the liability behind it.

Which variances are taken, and what is kept for forecasts and courses. The method is
``registry.science.threshold``'s; nothing is read from or written to the database.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.desk.breeding_inputs import TraitInputs
from registry.desk.breeding_store import Found
from registry.models import VariancesFrom
from registry.science.mixed_model import Records
from registry.science.pedigree import Pedigree
from registry.science.threshold import liability_variances, observed_part
from registry.science.variances import TooFewRecordsError, estimate_variances

FEWEST_OTHERS = 50
"""Dogs outside the usual grade that a breed's own heritability of a graded trait wants (ours)."""
_MOST_EXPLAINED = 0.95
AT_BOUND = "the estimate stands at its bound"
"""Why a published share is taken, as a run's note says it."""

Note = dict[str, Any]


def variances_of_grades(
    pedigree: Pedigree,
    inbreeding: NDArray[np.float64],
    trait: TraitInputs,
    records: Records,
    notes: list[Note],
) -> Found | None:
    """The liability's variances from the breed's records, else from the trait's published share;
    None where there is neither.

    REML of the grades' places, turned into shares of the liability. A heritability at a bound, or
    from few dogs outside the usual grade, is not known here.
    """
    count = np.bincount(trait.value.astype(np.int64), minlength=trait.grades)
    others = int(count.sum() - count.max())
    if not others:
        notes.append({"code": "no-variances", "why": "all records have the same grade"})
        return None
    if others < FEWEST_OTHERS:
        why = f"{others} dogs outside the usual grade; at least {FEWEST_OTHERS} are wanted"
        return _published(trait, why, notes)
    try:
        estimate = estimate_variances(pedigree, inbreeding, records)
    except TooFewRecordsError as error:
        return _published(trait, str(error), notes)
    part = observed_part(count / count.sum())
    observed = estimate.variances
    heritability, litter_share = observed.heritability / part, observed.litter_share / part
    notes.append(
        {
            "code": "observed",
            "heritability": observed.heritability,
            "heritability_se": estimate.errors.heritability,
        }
    )
    # The litter's share may well be nothing: only heritability at its bound is no knowledge.
    is_told = estimate.has_converged and estimate.tells_heritability
    if not is_told or heritability + litter_share > _MOST_EXPLAINED:
        return _published(trait, AT_BOUND, notes)
    notes.append({"code": "estimate", "method": estimate.method, "records": estimate.records})
    return Found(
        variances=liability_variances(heritability, litter_share),
        source=VariancesFrom.RECORDS,
        heritability_se=estimate.errors.heritability / part,
    )


def grades_note(
    trait: TraitInputs,
    is_inside: NDArray[np.bool_],
    value: NDArray[np.float64],
    level_mean: NDArray[np.float64],
) -> Note:
    """What forecasts and courses need of the tested dogs of the window.

    ``value`` and ``level_mean`` are those of the records, (r,).
    """
    grade = trait.value[is_inside].astype(np.int64)
    count = np.bincount(grade, minlength=trait.grades)
    return {
        "code": "grades",
        "shares": (count / count.sum()).tolist(),
        "dogs": int(count.sum()),
        "mean": float(value[is_inside].mean()),
        "spread": float(level_mean[is_inside].var()),
    }


def average_note(
    value: NDArray[np.float64],
    born: NDArray[np.int64],
    is_of_breed: NDArray[np.bool_],
    years: int,
) -> Mapping[str, Any] | None:
    """The mean breeding value of the breed's dogs of its latest birth years, or None for none."""
    if not is_of_breed.any():
        return None
    last = int(born[is_of_breed].max())
    recent = is_of_breed & (born > last - years)
    return {
        "code": "average",
        "value": float(value[recent].mean()),
        "first_year": last - years + 1,
        "last_year": last,
    }


def _published(trait: TraitInputs, why: str, notes: list[Note]) -> Found | None:
    if trait.heritability_prior is None:
        notes.append({"code": "no-prior", "why": why})
        return None
    notes.append({"code": "prior", "why": why})
    variances = liability_variances(trait.heritability_prior, trait.litter_share_prior or 0.0)
    return Found(variances=variances, source=VariancesFrom.PRIOR)
