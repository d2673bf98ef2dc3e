"""Fingerprints of what a breeding run kept and found of forecasts, and whether the rows still have
them. The run's ledger entry is the witness; nothing is written here."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any

from registry.ledger.damage import Damage
from registry.models import BreedingRun, ForecastCheck, KeptForecast, LedgerEntry

_KEPT = (
    "run__number", "trait_id", "sire", "dam", "born_on", "last_dog", "base", "mean",
    "parent_variance", "mendelian_variance", "litter_variance", "residual_variance", "inbreeding",
)  # fmt: skip
_CHECK = ("trait_id", "puppies", "litters", "found")


def kept_sha256(run_pk: int) -> str:
    """SHA-256 of the forecasts that the run kept, in one fixed form and order."""
    rows = KeptForecast.objects.filter(kept_in=run_pk).order_by("pk")
    return _sha256(rows.values_list(*_KEPT).iterator(chunk_size=2_000))


def checks_sha256(run_pk: int) -> str:
    """SHA-256 of what the run found when forecasts were held against records."""
    rows = ForecastCheck.objects.filter(run=run_pk).order_by("pk")
    return _sha256(rows.values_list(*_CHECK).iterator(chunk_size=2_000))


def check_forecasts() -> Iterator[Damage]:
    """Every run's kept forecasts and checks against its ledger entry; a damage names the entry."""
    runs = {
        # As an entry names its breed.
        (f"breed:{slug}"[:40], number): pk
        for pk, slug, number in BreedingRun.objects.values_list("pk", "breed__slug", "number")
    }
    said: set[int] = set()
    for entry in LedgerEntry.objects.filter(action="breeding.run").order_by("seq").iterator():
        values = json.loads(entry.body)["values"]
        if "forecasts_sha256" not in values:
            continue
        breed = entry.subject.removeprefix("breed:")
        number = values["number"]["to"]
        run = runs.get((entry.subject, number))
        which = f"run {number} of {breed}"
        if run is None:
            yield Damage(entry.seq, "forecasts", "missing", f"{which} is missing")
            continue
        said.add(run)
        for name, what, found in (
            ("forecasts_sha256", "the forecasts kept in", kept_sha256(run)),
            ("forecast_checks_sha256", "how forecasts turned out by", checks_sha256(run)),
        ):
            if found != values[name]["to"]:
                text = f"{what} {which} are not what entry {entry.seq} says"
                yield Damage(entry.seq, name, "edited", text)
    for model, field in ((KeptForecast, "kept_in"), (ForecastCheck, "run")):
        rows: Any = model
        added = rows.objects.exclude(**{f"{field}__in": said})
        for breed, number in sorted(
            set(added.values_list(f"{field}__breed__slug", f"{field}__number"))
        ):
            text = f"forecasts of run {number} of {breed} are in no entry of the ledger"
            yield Damage(0, "forecasts", "added", text)


def _sha256(rows: Iterator[tuple[Any, ...]]) -> str:
    digest = hashlib.sha256()
    for row in rows:
        told = [_fixed(value) for value in row]
        digest.update(json.dumps(told, sort_keys=True).encode() + b"\n")
    return digest.hexdigest()


def _fixed(value: Any) -> Any:
    """Numbers as texts: databases and archives write 1.0 and 1 as one."""
    if isinstance(value, dict):
        return {name: _fixed(each) for name, each in value.items()}
    if isinstance(value, list):
        return [_fixed(each) for each in value]
    if isinstance(value, (int, float)):
        return repr(float(value))
    return None if value is None else str(value)
