"""Store a breeding run from given numbers, as a computed one is stored: for whatever reads runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np
from django.db.models import Max
from django.utils import timezone
from numpy.typing import NDArray

from registry import __version__
from registry.desk.breeding_store import Found, TraitResult, store
from registry.models import Breed, BreedingRun, Dog, LedgerHead, RunState, Trait, VariancesFrom
from registry.science.inbreeding import inbreeding
from registry.science.mixed_model import Variances
from registry.science.pedigree import Pedigree

_VARIANCES = Variances(additive=0.006, litter=0.001, residual=0.005)


@dataclass(frozen=True)
class TraitColumns:
    """The numbers of some dogs for one trait; every other dog has value 0, reliability 0 and no
    record. Units are the trait's."""

    value: Mapping[Dog, float] = field(default_factory=dict)
    reliability: Mapping[Dog, float] = field(default_factory=dict)
    record: Mapping[Dog, float] = field(default_factory=dict)
    variances: Variances = _VARIANCES
    variances_from: str = VariancesFrom.RECORDS
    heritability_se: float | None = 0.08
    method: str = "exact"
    base: float = 0.45
    middle: float = 0.44
    records: int = 120
    notes: tuple[Mapping[str, Any], ...] = ()
    trend: Mapping[str, Any] = field(default_factory=dict)
    has_values: bool = True
    clinics: tuple[Mapping[str, Any], ...] = ()


def make_run(
    breed: Breed,
    *,
    traits: Mapping[str, TraitColumns] | None = None,
    finished_at: datetime | None = None,
) -> BreedingRun:
    """A run of the breed that is done, over all its dogs and its pedigree as it is now.

    ``traits`` by slug; without them the hip laxity, with every value 0.
    """
    now = finished_at or timezone.now()
    dogs = list(Dog.objects.filter(breed=breed).order_by("pk"))
    place = {dog.pk: at for at, dog in enumerate(dogs)}
    sire, dam = (
        np.array([place.get(getattr(dog, name), -1) for dog in dogs], dtype=np.int64)
        for name in ("sire_id", "dam_id")
    )
    pedigree = {
        "dog": np.array([dog.pk for dog in dogs], dtype=np.int64),
        "sire": sire,
        "dam": dam,
        "inbreeding": inbreeding(Pedigree.of(sire, dam)),
    }
    last = BreedingRun.objects.filter(breed=breed).aggregate(last=Max("number"))["last"] or 0
    run = BreedingRun.objects.create(
        breed=breed,
        number=last + 1,
        state=RunState.RUNNING,
        asked_at=now,
        started_at=now,
        ledger_seq=LedgerHead.objects.get().seq,
        inputs_sha256="0" * 64,
        program_version=__version__,
        dogs=len(dogs),
        mean_inbreeding=float(pedigree["inbreeding"].mean()) if dogs else 0.0,
    )
    results = [
        _result(Trait.objects.get(slug=slug), given, place)
        for slug, given in (traits or {"hip-laxity": TraitColumns()}).items()
        if dogs
    ]
    run.results_sha256 = store(run=run, pedigree=pedigree, traits=results)
    run.state, run.finished_at = RunState.DONE, now
    run.save()
    return run


def _result(trait: Trait, given: TraitColumns, place: Mapping[int, int]) -> TraitResult:
    if not given.has_values:
        return TraitResult(trait.pk, trait.slug, given.records, notes=given.notes)
    reliability = _column(given.reliability, place, 0.0)
    return TraitResult(
        trait_pk=trait.pk,
        slug=trait.slug,
        records=given.records,
        found=Found(given.variances, given.variances_from, heritability_se=given.heritability_se),
        method=given.method,
        base=given.base,
        middle=given.middle,
        columns={
            "value": _column(given.value, place, 0.0),
            # PEV = (1 - reliability) of the additive variance of a dog that is not inbred.
            "error_variance": (1 - reliability) * given.variances.additive,
            "reliability": reliability,
            "record": _column(given.record, place, np.nan),
        },
        notes=given.notes,
        trend=given.trend,
        clinics=given.clinics,
    )


def _column(
    given: Mapping[Dog, float], place: Mapping[int, int], otherwise: float
) -> NDArray[np.float64]:
    column = np.full(len(place), otherwise)
    for dog, number in given.items():
        column[place[dog.pk]] = number
    return column
