"""How far the clinics differ in each trait, as the breed's latest run found it.

Which clinic it is may be told to registrars alone. Reads only.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from registry.models import Breed, BreedingRun, Clinic, RunState, Trait, TraitRun
from registry.science.middles import ClinicEffect

LATEST_CLINICS = (
    "(SELECT tr.clinics FROM registry_traitrun tr JOIN registry_breedingrun r ON r.id = tr.run_id"
    " WHERE tr.trait_id = s.trait_id AND r.id = (SELECT latest.id FROM registry_breedingrun latest"
    " WHERE latest.breed_id = s.breed_id AND latest.state = 'done'"
    " ORDER BY latest.number DESC LIMIT 1))"
)
"""The clinics of the latest run that was done, as JSON, of the breed and trait of ``s``; null
before the first."""


@dataclass(frozen=True, slots=True)
class NamedEffect:
    """A clinic by name, for registrars alone."""

    clinic: str
    effect: ClinicEffect


def effects_from(text: str | None) -> tuple[ClinicEffect, ...]:
    """The effects in a run's JSON; none without a run."""
    return _effects(json.loads(text or "[]"))


def effects_of(breed: Breed, trait: Trait) -> tuple[ClinicEffect, ...]:
    """The clinics' differences in one trait."""
    run = _latest(breed)
    found = TraitRun.objects.filter(run=run, trait=trait).values_list("clinics", flat=True).first()
    return _effects(found or [])


def named_effects(breed: Breed) -> list[tuple[Trait, list[NamedEffect]]]:
    """The breed's traits that compare clinics, with each clinic by name."""
    names = dict(Clinic.objects.values_list("pk", "name"))
    runs = (
        TraitRun.objects.filter(run=_latest(breed))
        .select_related("trait")
        .order_by("trait__position")
    )
    return [
        (
            run.trait,
            sorted(
                (NamedEffect(names[each.clinic], each) for each in _effects(run.clinics)),
                key=lambda named: named.clinic,
            ),
        )
        for run in runs
        if run.clinics
    ]


def _latest(breed: Breed) -> BreedingRun | None:
    return breed.breeding_runs.filter(state=RunState.DONE).order_by("-number").first()


def _effects(found: Iterable[Mapping[str, Any]]) -> tuple[ClinicEffect, ...]:
    return tuple(
        ClinicEffect(each["clinic"], each["records"], each["effect"], each["se"]) for each in found
    )
