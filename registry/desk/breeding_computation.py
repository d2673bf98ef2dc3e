"""From a breed's inputs to its breeding values: which records and variances each trait gets, and
what to note of it.

The methods are ``registry.science``'s; here they are only put together. Nothing is read from or
written to the database. The same inputs give the same results to the last bit on one machine: the
linear algebra runs on one thread, and no run begins from the results of another.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from registry.desk.breeding_course import (
    YEARS_OF_SIZE,
    birth_years,
    course,
    finite,
    size_of,
)
from registry.desk.breeding_grades import AT_BOUND, average_note, grades_note, variances_of_grades
from registry.desk.breeding_inputs import Inputs, TraitInputs
from registry.desk.breeding_records import clinic_differences, litters, records_of
from registry.desk.breeding_store import Found, TraitResult
from registry.models import VariancesFrom
from registry.science.breeding_values import Solution, breeding_values, shift_by_variances
from registry.science.inbreeding import inbreeding
from registry.science.missing_parents import UnknownParents, filled, unknown_parents
from registry.science.mixed_model import Records, Variances
from registry.science.pedigree import Pedigree
from registry.science.threshold import threshold_values
from registry.science.variances import (
    StandardErrors,
    TooFewRecordsError,
    estimate_variances,
    prior_variances,
)

FEWEST_RECORDS = 30
"""With fewer records of a trait a breed gets no breeding values of it (our choice)."""

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
    """What all traits of a breed share. ``pedigree`` and ``inbreeding`` hold stand-ins for missing
    parents after the dogs."""

    inputs: Inputs
    pedigree: Pedigree
    inbreeding: NDArray[np.float64]
    unknown: UnknownParents | None
    size: Mapping[str, Any] | None


def compute(inputs: Inputs, *, between: Callable[[], None] = lambda: None) -> Computed:
    """Compute everything of a run. ``between`` is called before each trait.

    Raises PedigreeLoopError where a dog is its own ancestor.
    """
    with threadpool_limits(limits=1):
        pedigree = Pedigree.of(inputs.sire, inputs.dam)
        # Of the dogs' written ancestors alone: what pages call a dog's inbreeding.
        of_all = inbreeding(pedigree)
        year, own = birth_years(inputs), inputs.is_of_breed
        whole = filled(pedigree, year=year, day=inputs.born, is_own=own)
        unknown = unknown_parents(pedigree, year=year, is_own=own)
        of_whole = inbreeding(whole.kin) if whole.stand_ins else of_all
        breed = _Breed(
            inputs=inputs,
            pedigree=whole.model,
            inbreeding=of_whole,
            unknown=unknown,
            size=size_of(inputs, whole, of_whole, unknown),
        )
        results = []
        for trait in inputs.traits:
            between()
            results.append(_of_trait(breed, trait))
    columns = {
        "dog": inputs.dog,
        "sire": inputs.sire,
        "dam": inputs.dam,
        "inbreeding": of_all,
    }
    return Computed(columns, tuple(results))


def _of_trait(breed: _Breed, trait: TraitInputs) -> TraitResult:
    began = perf_counter()
    n = len(trait.place)
    notes: list[Note] = []
    if n < FEWEST_RECORDS:
        notes.append({"code": "too-few-records", "records": n, "wanted": FEWEST_RECORDS})
        return TraitResult(trait.pk, trait.slug, n, notes=notes)
    records = records_of(breed.inputs, trait, litters(breed.inputs, trait))
    if trait.is_graded:
        found = variances_of_grades(breed.pedigree, breed.inbreeding, trait, records, notes)
    else:
        found = _variances(breed, trait, records, notes)
    if found is None:
        return TraitResult(trait.pk, trait.slug, n, notes=notes)
    solve = _values_of_grades if trait.is_graded else breeding_values
    solution = solve(breed.pedigree, breed.inbreeding, records, found.variances)
    shift = None
    # Of grades the working records change with the variances: their error is not told.
    if found.heritability_se is not None and not trait.is_graded:
        shift = shift_by_variances(
            breed.pedigree, breed.inbreeding, records, found.variances, found.heritability_se
        )
    return _result(breed, trait, found, solution, shift, notes, perf_counter() - began)


def _values_of_grades(
    pedigree: Pedigree, of_all: NDArray[np.float64], records: Records, variances: Variances
) -> Solution:
    return threshold_values(pedigree, of_all, records, variances).solution


def _result(
    breed: _Breed,
    trait: TraitInputs,
    found: Found,
    solution: Solution,
    shift: NDArray[np.float64] | None,
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
    own = breed.inputs.is_of_breed
    # Stand-ins for missing parents come after the dogs.
    value = solution.value[: len(record)]
    average = average_note(value, birth_years(breed.inputs), own, YEARS_OF_SIZE)
    if average is not None:
        notes.append(dict(average))
    told = record
    if trait.is_graded:
        of_records = solution.value[trait.place]
        notes.append(grades_note(trait, is_inside, of_records, solution.level_mean))
        # A graded trait's course is that of the best grade's share.
        told = np.where(np.isnan(record), np.nan, record == 0)
    return TraitResult(
        trait_pk=trait.pk,
        slug=trait.slug,
        records=len(trait.place),
        found=found,
        method=solution.method,
        base=float(solution.level_mean[is_inside].mean()),
        middle=float(np.median(trait.value[is_inside])),
        columns={
            "value": value,
            "error_variance": solution.error_variance[: len(record)],
            "reliability": solution.reliability[: len(record)],
            "record": record,
        },
        seconds=seconds,
        notes=notes,
        # Of grades the small clinics are one class of the liability, so none is told apart.
        clinics=[] if trait.is_graded else clinic_differences(trait, solution),
        trend={
            **course(
                breed.inputs,
                breed.pedigree,
                breed.inbreeding,
                record=told,
                solution=solution,
                additive=found.variances.additive,
                shift=shift,
                unknown=breed.unknown,
            ),
            "effective_size": breed.size,
        },
    )


def _variances(
    breed: _Breed, trait: TraitInputs, records: Records, notes: list[Note]
) -> Found | None:
    """The breed's own variances where its records can tell them, else the trait's prior; None
    where there is neither.

    A heritability at its bound is not known here, as of grades.
    """
    try:
        estimate = estimate_variances(breed.pedigree, breed.inbreeding, records)
    except TooFewRecordsError as error:
        return _prior(trait, records, str(error), notes)
    if not estimate.has_converged:
        return _prior(trait, records, estimate.method, notes)
    if estimate.is_at_bound or not estimate.tells_heritability:
        notes.append({"code": "at-bound", "heritability": estimate.free_heritability})
    if not estimate.tells_heritability:
        return _prior(trait, records, AT_BOUND, notes)
    notes.append({"code": "estimate", "method": estimate.method, "records": estimate.records})
    return _found(estimate.variances, estimate.errors)


def _found(variances: Variances, errors: StandardErrors) -> Found:
    return Found(
        variances=variances,
        source=VariancesFrom.RECORDS,
        additive_se=finite(errors.additive),
        litter_se=finite(errors.litter),
        residual_se=finite(errors.residual),
        heritability_se=finite(errors.heritability),
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
