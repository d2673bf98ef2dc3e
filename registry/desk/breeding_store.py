"""Write what a breeding run found: its traits and its columns, all or nothing.

Computing is ``registry.desk.breeding``'s business; reading is ``registry.queries.breeding``'s.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from django.db import transaction
from numpy.typing import NDArray

from registry.models import BreedingRun, RunColumn, RunState, TraitRun
from registry.science.mixed_model import Variances

RUNS_WITH_COLUMNS = 2
"""Of how many runs a breed keeps the columns: a reader of the last but one is not cut off."""

_DTYPES = {"dog": "<i8", "sire": "<i4", "dam": "<i4"}


@dataclass(frozen=True, slots=True)
class Found:
    """The variances of a trait and where they are from; standard errors None for a prior."""

    variances: Variances
    source: str
    additive_se: float | None = None
    litter_se: float | None = None
    residual_se: float | None = None
    heritability_se: float | None = None


@dataclass(frozen=True, slots=True)
class TraitResult:
    """What a run found of one trait. Without ``found`` there are too few records, and no columns.

    ``columns`` are ``value``, ``error_variance``, ``reliability`` and ``record``, each of one
    number a dog.
    """

    trait_pk: int
    slug: str
    records: int
    found: Found | None = None
    method: str = ""
    base: float | None = None
    middle: float | None = None
    columns: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)
    seconds: float = 0.0
    notes: Sequence[Mapping[str, Any]] = ()
    trend: Mapping[str, Any] = field(default_factory=dict)
    clinics: Sequence[Mapping[str, Any]] = ()


def store(
    *, run: BreedingRun, pedigree: Mapping[str, NDArray[Any]], traits: Sequence[TraitResult]
) -> str:
    """Write the columns and traits of a run; returns the SHA-256 of all columns.

    Columns of runs that are older than the last two done ones are let go. The caller's transaction
    makes the run done.
    """
    digest = hashlib.sha256()
    with transaction.atomic():
        for trait_pk, slug, name, values in _columns(pedigree, traits):
            dtype = _DTYPES.get(name, "<f8")
            packed = np.ascontiguousarray(values, dtype=dtype).tobytes()
            digest.update(f"{slug}\n{name}\n{dtype}\n{len(packed)}\n".encode())
            digest.update(packed)
            RunColumn.objects.create(
                run=run, trait_id=trait_pk, name=name, dtype=dtype, packed=packed
            )
        TraitRun.objects.bulk_create([_trait_run(run, each) for each in traits])
        _let_old_columns_go(run)
    return digest.hexdigest()


def _columns(
    pedigree: Mapping[str, NDArray[Any]], traits: Sequence[TraitResult]
) -> Iterator[tuple[int | None, str, str, NDArray[Any]]]:
    for name, values in pedigree.items():
        yield None, "", name, values
    for each in traits:
        for name, values in each.columns.items():
            yield each.trait_pk, each.slug, name, values


def _trait_run(run: BreedingRun, of: TraitResult) -> TraitRun:
    row = TraitRun(
        run=run,
        trait_id=of.trait_pk,
        records=of.records,
        has_values=of.found is not None,
        method=of.method,
        base=of.base,
        middle=of.middle,
        seconds=of.seconds,
        notes=list(of.notes),
        trend=dict(of.trend),
        clinics=list(of.clinics),
    )
    if of.found is not None:
        found = of.found
        row.additive = found.variances.additive
        row.litter = found.variances.litter
        row.residual = found.variances.residual
        row.heritability = found.variances.heritability
        row.additive_se, row.litter_se = found.additive_se, found.litter_se
        row.residual_se, row.heritability_se = found.residual_se, found.heritability_se
        row.variances_from = found.source
        row.value_sd = float(np.std(of.columns["value"]))
        row.mean_reliability = float(np.mean(of.columns["reliability"]))
    return row


def _let_old_columns_go(run: BreedingRun) -> None:
    """Keep the columns of this run and of the last done one before it."""
    kept = (
        BreedingRun.objects.filter(breed_id=run.breed_id, state=RunState.DONE)
        .exclude(pk=run.pk)
        .order_by("-number")
        .values_list("pk", flat=True)[: RUNS_WITH_COLUMNS - 1]
    )
    old = RunColumn.objects.filter(run__breed_id=run.breed_id)
    old.exclude(run_id__in=[run.pk, *kept]).delete()
