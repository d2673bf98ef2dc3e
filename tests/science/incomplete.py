"""Simulated breeds of which some parents were not written down, analysed as a run does it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from registry.science.breeding_values import breeding_values, shift_by_variances
from registry.science.diversity import effective_size
from registry.science.inbreeding import inbreeding
from registry.science.missing_parents import Filled, filled
from registry.science.mixed_model import Records
from registry.science.pedigree import Pedigree
from registry.science.trend import Line, by_birth_year
from registry.science.variances import estimate_variances
from tests.science import simulated

TRUTH = simulated.Truth.of(0.4, 0.05, 0.55)
YEARS = 14
FOUNDED = 2000


@dataclass(frozen=True)
class Found:
    """What was said of one breed, and what is true of the same dogs."""

    line: Line
    slope: float
    """The true slope of a straight line through the yearly means."""
    years_held: float
    """Share of the yearly means' intervals that hold the true mean."""
    last_bias: float
    """The last cohort's true mean less that said, in standard deviations of a record."""
    heritability: float
    size: float
    full_size: float
    """As read from the pedigree with nobody missing."""

    @property
    def said(self) -> float:
        """The slope that is said."""
        return self.line.per_year


def pedigree_without(
    breed: simulated.Breed, missing: float, rng: np.random.Generator
) -> tuple[Pedigree, NDArray[np.int64]]:
    """Return the pedigree with that share of the litters' sires, and of their dams, unknown; and
    each dog's day of birth, which littermates share."""
    litters = int(breed.litter.max()) + 1
    no_sire, no_dam = (np.append(rng.random(litters) < missing, False) for _ in range(2))
    sire = np.where(no_sire[breed.litter], -1, breed.pedigree.sire)
    dam = np.where(no_dam[breed.litter], -1, breed.pedigree.dam)
    return Pedigree.of(sire, dam), 365 * breed.born + breed.litter % 300


def recorded(breed: simulated.Breed, rng: np.random.Generator) -> Records:
    """Return a record of every dog, founders too: nothing is chosen by what was not recorded."""
    n = len(breed.born)
    age = rng.uniform(0.4, 3.0, n)
    clinic = rng.integers(6, size=n)
    conditions = 0.2 * rng.standard_normal(YEARS + 1)[breed.born]
    conditions += (0.3 * rng.standard_normal(6))[clinic] + 0.3 * breed.is_male + 0.1 * age
    return Records(
        dog=np.arange(n),
        value=breed.phenotype[:, 0] + conditions,
        fixed={"sex": breed.is_male.astype(np.int64), "clinic": clinic, "year": breed.born},
        age=age,
        litter=breed.litter,
    )


def analysed(keep: float | None, missing: float, seed: int, *, is_filled: bool = True) -> Found:
    """Return what is found of one breed of about 1,750 records, with estimated variances."""
    breed = simulated.breed(
        TRUTH, seed=seed, years=YEARS, litters_a_year=21, keep=keep, keep_lowest=True
    )
    pedigree, day = pedigree_without(breed, missing, np.random.default_rng([9, seed]))
    n = len(pedigree)
    whole = Filled(n, pedigree, pedigree)
    if is_filled:
        everybody = np.ones(n, dtype=np.bool_)
        whole = filled(pedigree, year=FOUNDED + breed.born, day=day, is_own=everybody)
    of_all = inbreeding(whole.kin)
    records = recorded(breed, np.random.default_rng([7, seed]))
    records = replace(records, litter=_litters(pedigree, day))
    estimate = estimate_variances(whole.model, of_all, records)
    variances = estimate.variances
    solution = breeding_values(whole.model, of_all, records, variances)
    trend = by_birth_year(
        whole.model,
        born=np.append(FOUNDED + breed.born, np.zeros(whole.stand_ins, dtype=np.int64)),
        record=np.full(len(whole.model), np.nan),
        value=solution.value,
        error_variance=solution.error_variance,
        inbreeding=of_all,
        additive=variances.additive,
        shift=shift_by_variances(
            whole.model, of_all, records, variances, estimate.errors.heritability
        ),
    )
    true = np.array([breed.value[breed.born == year, 0].mean() for year in range(YEARS + 1)])
    said = [year.value for year in trend.years if year.value is not None]
    held = [of.low <= mean <= of.high for of, mean in zip(said, true, strict=True)]
    latest = np.flatnonzero(breed.born > YEARS - 5)
    size = effective_size(whole.kin, of_all, latest, stand_ins=whole.stand_ins)
    full_size = effective_size(breed.pedigree, breed.inbreeding, latest)
    assert trend.line is not None and size is not None and full_size is not None
    return Found(
        line=trend.line,
        slope=float(np.polyfit(np.arange(YEARS + 1), true, 1)[0]),
        years_held=float(np.mean(held)),
        last_bias=float(true[-1] - said[-1].mean),
        heritability=variances.heritability,
        size=size.size,
        full_size=full_size.size,
    )


def _litters(pedigree: Pedigree, day: NDArray[np.int64]) -> NDArray[np.int64]:
    """Each dog's litter as a club knows it: of one dam, or of one sire, on one day."""
    n = len(pedigree)
    parent = np.where(pedigree.sire >= 0, n + pedigree.sire, 2 * n + np.arange(n))
    parent = np.where(pedigree.dam >= 0, pedigree.dam, parent)
    codes: NDArray[np.int64] = np.unique(parent * 10_000 + day, return_inverse=True)[1]
    return codes
