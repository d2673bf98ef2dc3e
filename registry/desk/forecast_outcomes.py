"""Hold a breed's kept forecasts against the records that a breeding run has of the puppies.

What is compared is a puppy's record as it is, in the trait's unit, beside the mean and the range
that were said: conditions of later years are left in, since taking them out by effects of those
years would take a common error of all forecasts out with them. A puppy that a forecast's own run
could have known is no puppy of it, nor is one into whose entry another was merged since.

Withheld results count, but nobody may work one out by subtracting one run's numbers from the
next's: what released results do not explain of the change is nothing or five puppies or more.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.db.models import BigIntegerField, F, Max, OuterRef, Subquery
from django.db.models.functions import Coalesce
from numpy.typing import NDArray

from registry.desk.breeding_inputs import Inputs, places_in
from registry.desk.breeding_store import TraitResult
from registry.desk.forecast_agreement import checks_sha256, kept_sha256
from registry.desk.forecast_keeping import ONE_BIRTH_DAYS
from registry.ledger import Change
from registry.models import BreedingRun, Dog, DogAlias, ForecastCheck, KeptForecast
from registry.queries.breeding import hidden_dogs
from registry.science.forecast_check import Check, Estimate, Later, against_later, check

FEWEST_WITHHELD = 5
"""Between two runs' numbers the withheld results that come or go are none, or so many or more."""

MEMBER = np.dtype([("dog", "<i8"), ("forecast", "<i8"), ("record", "<f8"), ("is_released", "?")])
"""A puppy that is compared: its key, its forecast's, its record, whether that was ever open."""

Members = NDArray[np.void]


@dataclass(frozen=True, slots=True)
class _Said:
    """The kept forecasts of a trait as columns, in ascending order of their keys."""

    key: NDArray[np.int64]
    sire: NDArray[np.int64]
    dam: NDArray[np.int64]
    born: NDArray[np.int64]
    year: NDArray[np.int64]
    last_dog: NDArray[np.int64]
    run_at: Sequence[datetime]
    base: NDArray[np.float64]
    mean: NDArray[np.float64]
    sd: NDArray[np.float64]


def keep_and_check(
    run: BreedingRun,
    inputs: Inputs,
    traits: Iterable[TraitResult],
    kept: Sequence[KeptForecast],
) -> dict[str, Change]:
    """Store the forecasts that the run keeps and its checks; returns what its ledger entry says of
    them. In the transaction that makes the run done."""
    for forecast in kept:
        forecast.kept_in = run
    KeptForecast.objects.bulk_create(kept, batch_size=500)
    graded = {of.pk for of in inputs.traits if of.is_graded}
    checks = [
        _check(run, inputs, of)
        for of in traits
        if of.found is not None and of.trait_pk not in graded
    ]
    for each in checks:
        each.save()
        # Only the newest are ever asked for.
        older = ForecastCheck.objects.filter(run__breed=run.breed, trait=each.trait_id)
        older.exclude(pk=each.pk).exclude(members=b"").update(members=b"")
    return {
        "forecasts_kept": Change(None, len(kept)),
        "forecasts_sha256": Change(None, kept_sha256(run.pk)),
        "forecast_checks_sha256": Change(None, checks_sha256(run.pk)),
    }


def next_members(before: Members, now: Members) -> Members:
    """The puppies to compare, from those that were and those that there are; without repeats.

    Released ones come and go at once. Withheld ones come, change and go only when they are five
    dogs or more that do; until then they stay as they were.
    """
    stays, came, went = _sorted(before, now)
    moved = {int(row["dog"]) for row in (*came, *went) if not row["is_released"]}
    kept = [stays, came[came["is_released"]]]
    if len(moved) >= FEWEST_WITHHELD:
        kept.append(came[~came["is_released"]])
    else:
        kept.append(went[~went["is_released"]])
    return np.sort(np.concatenate(kept), order=("dog", "forecast"))


def _sorted(before: Members, now: Members) -> tuple[Members, Members, Members]:
    """Which rows stay, come and go. A record that was ever open among them stays known."""
    known = {_same(row): at for at, row in enumerate(before)}
    stays = np.array([_same(row) in known for row in now], dtype=np.bool_)
    left = now[stays].copy()
    for row in left:
        row["is_released"] |= before[known.pop(_same(row))]["is_released"]
    return left, now[~stays], before[sorted(known.values())]


def _same(row: Any) -> tuple[int, int, float]:
    return int(row["dog"]), int(row["forecast"]), float(row["record"])


def _check(run: BreedingRun, inputs: Inputs, of: TraitResult) -> ForecastCheck:
    said = _said(run.breed_id, of.trait_pk)
    now = _tested(run.breed_id, inputs, of, said)
    previous = (
        ForecastCheck.objects.filter(run__breed=run.breed, trait=of.trait_pk)
        .order_by("-run__number")
        .values_list("members", flat=True)
        .first()
    )
    members = next_members(np.frombuffer(bytes(previous or b""), dtype=MEMBER), now)
    at = np.searchsorted(said.key, members["forecast"])
    found = check(said.mean[at], said.sd[at], members["record"], at, said.year[at])
    later = _against_later(inputs, of, said, members, at) if found else None
    return ForecastCheck(
        run=run,
        trait_id=of.trait_pk,
        puppies=len(members),
        litters=len(np.unique(at)),
        found=_told(found, later) if found else {},
        members=members.tobytes(),
    )


def _said(breed_pk: int, trait_pk: int) -> _Said:
    """The trait's kept forecasts, with the keys that their parents have by now."""

    def key_of(parent: str) -> Coalesce:
        """A dog's key by its public id, or that of the dog its entry was merged into."""
        own = Dog.objects.filter(public_id=OuterRef(parent)).values("pk")[:1]
        heir = DogAlias.objects.filter(public_id=OuterRef(parent)).values("dog")[:1]
        return Coalesce(Subquery(own), Subquery(heir), -1, output_field=BigIntegerField())

    rows = list(
        KeptForecast.objects.filter(breed=breed_pk, trait=trait_pk)
        .annotate(
            sire_key=key_of("sire"),
            dam_key=key_of("dam"),
            variance=F("parent_variance")
            + F("mendelian_variance")
            + F("litter_variance")
            + F("residual_variance"),
        )
        .order_by("pk")
        .values_list(
            "pk", "sire_key", "dam_key", "born_on", "last_dog", "run__finished_at",
            "base", "mean", "variance",
        )
    )  # fmt: skip
    columns = list(zip(*rows, strict=True)) or [()] * 9
    whole = [np.array(columns[at], dtype=np.int64) for at in (0, 1, 2, 4)]
    base, mean, variance = (np.array(columns[at], dtype=np.float64) for at in (6, 7, 8))
    return _Said(
        key=whole[0],
        sire=whole[1],
        dam=whole[2],
        born=np.array(columns[3], dtype="datetime64[D]").astype(np.int64),
        year=np.array([day.year for day in columns[3]], dtype=np.int64),
        last_dog=whole[3],
        run_at=columns[5],
        base=base,
        mean=mean,
        sd=np.sqrt(variance),
    )


def _tested(breed_pk: int, inputs: Inputs, of: TraitResult, said: _Said) -> Members:
    """The puppies with a forecast and a record, by key."""
    record = of.columns["record"]
    by_dam: dict[int, list[int]] = {}
    for forecast, dam in enumerate(said.dam.tolist()):
        by_dam.setdefault(dam, []).append(forecast)
    dam = np.where(inputs.dam >= 0, inputs.dog[inputs.dam], -1)
    asked = np.flatnonzero(np.isfinite(record) & np.isin(dam, said.dam) & (inputs.sire >= 0))
    merged: Mapping[int, datetime] = dict(
        DogAlias.objects.filter(dog__breed=breed_pk)
        .values("dog")
        .annotate(last=Max("merged_at"))
        .values_list("dog", "last")
    )
    hidden = hidden_dogs(breed_pk, of.trait_pk)
    rows = []
    for place in asked.tolist():
        key, sire = int(inputs.dog[place]), int(inputs.dog[inputs.sire[place]])
        for at in by_dam[int(dam[place])]:
            is_of_litter = (
                said.sire[at] == sire
                and abs(int(said.born[at] - inputs.born[place])) <= ONE_BIRTH_DAYS
            )
            was_known = key <= said.last_dog[at] or (
                key in merged and merged[key] > said.run_at[at]
            )
            if is_of_litter and not was_known:
                rows.append((key, said.key[at], record[place], key not in hidden))
                break
    return np.array(rows, dtype=MEMBER)


def _against_later(
    inputs: Inputs, of: TraitResult, said: _Said, members: Members, at: NDArray[np.int64]
) -> Later | None:
    """Early values (the mean of both parents' then) against what this run says of the puppies."""
    place = places_in(inputs.dog, members["dog"])
    is_here = place >= 0
    early = (said.mean - said.base)[at[is_here]]
    return against_later(early, of.columns["value"][place[is_here]], at[is_here])


def _told(found: Check, later: Later | None) -> dict[str, Any]:
    """What is published, rounded: no more digits than the numbers bear."""
    digits = max(0, 3 - math.floor(math.log10(found.sd)))
    return {
        "inside": _rounded(found.inside, 3),
        "lean": _rounded(found.lean, digits),
        "sd": round(found.sd, digits),
        "slope": found.slope and _rounded(found.slope, 2),
        "parts": list(found.parts),
        "later": later
        and {
            "dogs": later.dogs,
            "lean": _rounded(later.lean, digits),
            "slope": _rounded(later.slope, 2),
            "ratio": _rounded(later.ratio, 2),
        },
    }


def _rounded(estimate: Estimate, digits: int) -> list[float]:
    """Value and interval. Never the negative zero, which one database would not give back."""
    return [round(each, digits) + 0.0 for each in (estimate.value, estimate.low, estimate.high)]
