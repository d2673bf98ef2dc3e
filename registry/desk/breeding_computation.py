"""From a breed's inputs to its breeding values: which records, variances and partner each trait
gets, and what to note of it.

The methods are ``registry.science``'s; here they are only put together. Nothing is read from or
written to the database. The same inputs give the same results to the last bit on one machine: the
linear algebra runs on one thread, and no run begins from the results of another.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from registry.desk.breeding_inputs import Inputs, TraitInputs
from registry.desk.breeding_store import Found, TraitResult
from registry.models import VariancesFrom
from registry.science.breeding_values import Solution, breeding_values
from registry.science.diversity import effective_size
from registry.science.inbreeding import inbreeding
from registry.science.mixed_model import Records
from registry.science.pedigree import Pedigree
from registry.science.trend import UNKNOWN_YEAR, by_birth_year
from registry.science.variances import (
    Estimate,
    TooFewRecordsError,
    estimate_variances,
    prior_variances,
)

FEWEST_RECORDS = 30
"""With fewer records of a trait a breed gets no breeding values of it (our choice)."""
YEARS_OF_SIZE = 5
"""The effective size is that of the dogs born in this many latest years (our choice)."""
_DAYS_A_YEAR = 365.25

Note = dict[str, Any]


@dataclass(frozen=True, slots=True, eq=False)
class Computed:
    """All that a run found: one array a column, and the traits."""

    pedigree: Mapping[str, NDArray[Any]]
    traits: tuple[TraitResult, ...]

    @property
    def mean_inbreeding(self) -> float:
        """Over all dogs; 0 where there are none."""
        of_all = self.pedigree["inbreeding"]
        return float(of_all.mean()) if len(of_all) else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Breed:
    """What all traits of a breed share."""

    inputs: Inputs
    pedigree: Pedigree
    inbreeding: NDArray[np.float64]
    litter: NDArray[np.int64]
    size: Mapping[str, Any] | None


def compute(inputs: Inputs, *, between: Callable[[], None] = lambda: None) -> Computed:
    """Compute everything of a run. ``between`` is called before each trait.

    Raises PedigreeLoopError where a dog is its own ancestor.
    """
    with threadpool_limits(limits=1):
        pedigree = Pedigree.of(inputs.sire, inputs.dam)
        of_all = inbreeding(pedigree)
        breed = _Breed(
            inputs=inputs,
            pedigree=pedigree,
            inbreeding=of_all,
            litter=_litters(inputs),
            size=_effective_size(inputs, pedigree, of_all),
        )
        results = []
        for trait in inputs.traits:
            between()
            results.append(_trait(breed, trait))
    columns = {
        "dog": inputs.dog,
        "sire": inputs.sire,
        "dam": inputs.dam,
        "inbreeding": of_all,
    }
    return Computed(columns, tuple(results))


def records_of(inputs: Inputs, trait: TraitInputs, litter: NDArray[np.int64]) -> Records:
    """The trait's records as the model takes them: sex, clinic and year as classes, age in years.

    ``litter`` holds each dog's code; the years' codes ascend.
    """
    year = (trait.day.astype("datetime64[D]").astype("datetime64[Y]")).astype(np.int64)
    return Records(
        dog=trait.place,
        value=trait.value,
        fixed={
            "sex": inputs.is_male[trait.place].astype(np.int64),
            "clinic": np.unique(trait.clinic, return_inverse=True)[1],
            "year": np.unique(year, return_inverse=True)[1],
        },
        age=(trait.day - inputs.born[trait.place]) / _DAYS_A_YEAR,
        litter=np.unique(litter[trait.place], return_inverse=True)[1],
    )


def _litters(inputs: Inputs) -> NDArray[np.int64]:
    """Each dog's litter: born of one dam on one day. A dog whose dam is not known is a litter of
    its own, since its record varies as much as another's."""
    n = len(inputs.dog)
    has_dam = inputs.dam >= 0
    pairs = np.column_stack([inputs.dam[has_dam], inputs.born[has_dam]])
    litters, own = np.unique(pairs, axis=0, return_inverse=True)
    code = len(litters) + np.arange(n)
    code[has_dam] = own.reshape(-1)
    return code


def _trait(breed: _Breed, trait: TraitInputs) -> TraitResult:
    began = perf_counter()
    n = len(trait.place)
    notes: list[Note] = []
    if n < FEWEST_RECORDS:
        notes.append({"code": "too-few-records", "records": n, "wanted": FEWEST_RECORDS})
        return TraitResult(trait.pk, trait.slug, n, notes=notes)
    if trait.is_graded:
        notes.append({"code": "scores"})
    records = records_of(breed.inputs, trait, breed.litter)
    found = _variances(breed, trait, records, notes)
    if found is None:
        return TraitResult(trait.pk, trait.slug, n, notes=notes)
    solution = breeding_values(breed.pedigree, breed.inbreeding, records, found.variances)
    return _result(breed, trait, found, solution, notes, perf_counter() - began)


def _result(
    breed: _Breed,
    trait: TraitInputs,
    found: Found,
    solution: Solution,
    notes: list[Note],
    seconds: float,
) -> TraitResult:
    first, after = breed.inputs.window
    is_inside = (trait.day >= first) & (trait.day < after)
    if not is_inside.any():
        notes.append({"code": "window-empty"})
        is_inside[:] = True
    record = np.full(len(breed.inputs.dog), np.nan)
    record[trait.place] = trait.value
    return TraitResult(
        trait_pk=trait.pk,
        slug=trait.slug,
        records=len(trait.place),
        found=found,
        method=solution.method,
        base=float(solution.level_mean[is_inside].mean()),
        middle=float(np.median(trait.value[is_inside])),
        columns={
            "value": solution.value,
            "error_variance": solution.error_variance,
            "reliability": solution.reliability,
            "record": record,
        },
        seconds=seconds,
        notes=notes,
        trend=_trend(breed, record, solution, found.variances.additive),
    )


def _variances(
    breed: _Breed, trait: TraitInputs, records: Records, notes: list[Note]
) -> Found | None:
    """The breed's own variances where its records can tell them, else the trait's prior; None
    where there is neither."""
    try:
        estimate = estimate_variances(breed.pedigree, breed.inbreeding, records)
    except TooFewRecordsError as error:
        return _prior(trait, records, str(error), notes)
    if not estimate.has_converged:
        return _prior(trait, records, estimate.method, notes)
    notes.append({"code": "estimate", "method": estimate.method, "records": estimate.records})
    if estimate.is_at_bound:
        notes.append({"code": "at-bound", "heritability": estimate.free_heritability})
    return _estimated(estimate)


def _estimated(estimate: Estimate) -> Found:
    errors = estimate.errors
    return Found(
        variances=estimate.variances,
        source=VariancesFrom.RECORDS,
        additive_se=_finite(errors.additive),
        litter_se=_finite(errors.litter),
        residual_se=_finite(errors.residual),
        heritability_se=_finite(errors.heritability),
    )


def _prior(trait: TraitInputs, records: Records, why: str, notes: list[Note]) -> Found | None:
    if trait.heritability_prior is None:
        notes.append({"code": "no-prior", "why": why})
        return None
    try:
        variances = prior_variances(
            records, trait.heritability_prior, trait.litter_share_prior or 0.0
        )
    except ValueError as error:
        notes.append({"code": "no-variances", "why": str(error)})
        return None
    notes.append({"code": "prior", "why": why})
    return Found(variances=variances, source=VariancesFrom.PRIOR)


def _trend(
    breed: _Breed, record: NDArray[np.float64], solution: Solution, additive: float
) -> dict[str, Any]:
    """The breed's course by year of birth, of its own dogs alone, as JSON can hold it."""
    inputs = breed.inputs
    trend = by_birth_year(
        breed.pedigree,
        born=np.where(inputs.is_of_breed, birth_years(inputs), UNKNOWN_YEAR),
        record=record,
        value=solution.value,
        error_variance=solution.error_variance,
        inbreeding=breed.inbreeding,
        additive=additive,
    )
    told = asdict(trend)
    # Every dog has a day of birth: what is left without a year are the other breeds' ancestors.
    del told["without_year"]
    return {**told, "effective_size": breed.size}


def birth_years(inputs: Inputs) -> NDArray[np.int64]:
    """The year in which each dog was born."""
    since_1970 = inputs.born.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64)
    return np.asarray(since_1970 + 1970, dtype=np.int64)


def _effective_size(
    inputs: Inputs, pedigree: Pedigree, of_all: NDArray[np.float64]
) -> dict[str, Any] | None:
    """The effective size by the breed's latest birth years; None in a pedigree too shallow."""
    year = birth_years(inputs)
    if not inputs.is_of_breed.any():
        return None
    last = int(year[inputs.is_of_breed].max())
    recent = inputs.is_of_breed & (year > last - YEARS_OF_SIZE)
    found = effective_size(pedigree, of_all, recent)
    if found is None:
        return None
    told = {name: _finite(value) for name, value in asdict(found).items()}
    return {**told, "first_year": last - YEARS_OF_SIZE + 1, "last_year": last}


def _finite(value: float | None) -> float | None:
    """The number, or None for one that JSON and pages cannot hold."""
    return value if value is not None and math.isfinite(value) else None
