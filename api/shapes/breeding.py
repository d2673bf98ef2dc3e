"""Breeding values, mates, kinships, forecasts, courses and runs: the JSON shape of each beside what
fills it. Numbers are in the trait's unit; what is withheld says so and carries none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from api.shapes.common import (
    DAY,
    ID,
    INSTANT,
    NUMBER,
    TEXT,
    WHOLE,
    YES_NO,
    Schema,
    closed,
    list_of,
    maybe,
    ref,
)
from registry.ledger.append import instant_text
from registry.models import BreedingRun, RunState
from registry.queries.breeding import DogValue, RunFacts, TraitFacts
from registry.queries.course import Course
from registry.queries.mates import Mate, MatesFound
from registry.queries.pairs import KinshipFacts, PairFacts, PairTrait
from registry.queries.public import PublicDog
from registry.science.litter import Forecast
from registry.science.trend import Mean, Year
from registry.telling.course import lead_of, size_of
from registry.wording.breeding import forecast_cautions
from registry.wording.cautions import cautions

_SHARE: Schema = {"type": "number", "minimum": 0, "maximum": 1}
_SPREAD: Schema = {"type": "number", "minimum": 0}

RUN = closed(
    {
        "number": WHOLE, "finished_at": INSTANT, "dogs": WHOLE,
        "inputs_sha256": {**TEXT, "description": "fingerprint of what the run read"},
        "results_sha256": {**TEXT, "description": "fingerprint of what it found"},
        "program_version": TEXT, "mean_inbreeding": _SHARE,
        "is_behind": {**YES_NO, "description": "results or pedigree changed since"},
        "changes_since": WHOLE,
    }
)  # fmt: skip
ESTIMATES = closed(
    {
        "trait": TEXT, "unit": TEXT, "records": WHOLE,
        "variances": closed({"additive": _SPREAD, "litter": _SPREAD, "residual": _SPREAD}),
        "variances_from": {"type": "string", "enum": ["records", "prior"]},
        "heritability": _SHARE, "heritability_se": maybe(_SPREAD),
        "reliabilities": {"type": "string", "enum": ["exact", "approximate"]},
        "mean_reliability": _SHARE,
        "base": {**NUMBER, "description": "the record to expect of a dog with breeding value 0"},
        "middle": {**NUMBER, "description": "the record of the middle tested dog"},
        "analysed_with": maybe(TEXT),
    }
)  # fmt: skip
_VALUE: Schema = {
    "is_withheld": {**YES_NO, "description": "the owner has not released the dog's own result"},
    "value": {**maybe(NUMBER), "description": "deviation in the trait's unit"},
    "reliability": maybe(_SHARE), "error_variance": maybe(_SPREAD),
}  # fmt: skip
BREEDING_VALUES = closed(
    {
        "dog": ID, "run": ref("Run"), "is_in_run": YES_NO, "inbreeding": maybe(_SHARE),
        "values": list_of(closed({"trait": TEXT, "unit": TEXT, **_VALUE})),
        "cautions": list_of(TEXT),
    }
)  # fmt: skip
FORECAST = closed(
    {
        "mean": NUMBER, "sd": _SPREAD, "sd_between_littermates": _SPREAD,
        "low_80": NUMBER, "high_80": NUMBER,
        "share_better_than_middle": _SHARE, "inbreeding": _SHARE,
    }
)  # fmt: skip
MATE = closed(
    {
        "id": ID, "name": TEXT, "born_on": DAY,
        "result": {**maybe(TEXT), "description": "null: not tested or not released"},
        "kinship": _SHARE, "value": NUMBER, "reliability": _SHARE,
        "behind_the_first": _SPREAD, "is_too_close_to_tell": YES_NO,
        "forecast": ref("Forecast"),
    }
)  # fmt: skip
MATES = closed(
    {
        "dog": ID, "trait": TEXT, "run": ref("Run"), "matching": WHOLE, "total": WHOLE,
        "too_close_to_tell": WHOLE,
        "withheld": {**WHOLE, "description": "not listed: their owners released no result"},
        "items": list_of(ref("Mate")), "next": maybe(TEXT), "cautions": list_of(TEXT),
    }
)  # fmt: skip
KINSHIP = closed(
    {
        "one": ID, "other": ID, "run": ref("Run"),
        "kinship": {**_SHARE, "description": "the inbreeding to expect of their puppies"},
        "relation": {
            "type": "string",
            "enum": ["none-near", "same-dog", "parent", "full-siblings", "half-siblings"],
        },
        "cautions": list_of(TEXT),
    }
)  # fmt: skip
FORECASTS = closed(
    {
        "sire": ID, "dam": ID, "run": ref("Run"), "kinship": _SHARE,
        "traits": list_of(
            closed(
                {
                    "trait": TEXT, "unit": TEXT, "base": NUMBER, "middle": NUMBER,
                    "withheld": {**list_of(ID), "description": "whose result is not released"},
                    "sire": closed(_VALUE), "dam": closed(_VALUE),
                    "forecast": maybe(ref("Forecast")),
                }
            )
        ),
        "cautions": list_of(TEXT),
    }
)  # fmt: skip
_MEAN = maybe(closed({"mean": NUMBER, "low": NUMBER, "high": NUMBER}))
TREND = closed(
    {
        "breed": TEXT, "trait": TEXT, "unit": TEXT, "run": ref("Run"),
        "estimates": ref("Estimates"), "sentences": list_of(TEXT),
        "years": list_of(
            closed(
                {
                    "year": WHOLE, "dogs": WHOLE, "tested": WHOLE,
                    "record": {**_MEAN, "description": "of the tested dogs, 95 % interval"},
                    "value": {**_MEAN, "description": "breeding values of all its dogs; add base"},
                    "inbreeding": _SHARE,
                }
            )
        ),
        "line": maybe(
            closed({"per_year": NUMBER, "low": NUMBER, "high": NUMBER, "first": WHOLE,
                    "last": WHOLE, "years": WHOLE})
        ),
        "left_out": list_of(WHOLE),
        "effective_size": maybe(
            closed({"size": maybe(_SPREAD), "size_error": maybe(_SPREAD), "rate": NUMBER,
                    "rate_error": _SPREAD, "dogs": WHOLE, "matings": WHOLE,
                    "generations": _SPREAD, "first_year": WHOLE, "last_year": WHOLE})
        ),
        "cautions": list_of(TEXT),
    }
)  # fmt: skip
BREEDING_RUN = closed(
    {
        "breed": TEXT, "number": WHOLE,
        "state": {"type": "string", "enum": list(RunState.values)},
        "asked_at": INSTANT, "started_at": maybe(INSTANT), "finished_at": maybe(INSTANT),
        "dogs": WHOLE, "inputs_sha256": TEXT, "results_sha256": TEXT, "program_version": TEXT,
        "error": {**TEXT, "description": "why it failed; for registrars and secretaries only"},
    }
)  # fmt: skip
BREEDING_RUNS = closed(
    {
        "items": list_of(ref("BreedingRun")), "next": maybe(TEXT),
        "latest": {**maybe(ref("Run")), "description": "the run that values are read from"},
        "estimates": list_of(ref("Estimates")), "cautions": list_of(TEXT),
    }
)  # fmt: skip


def run(found: RunFacts) -> dict[str, Any]:
    """From which run an answer speaks."""
    return {
        "number": found.number,
        "finished_at": instant_text(found.finished_at),
        "dogs": found.dogs,
        "inputs_sha256": found.inputs_sha256,
        "results_sha256": found.results_sha256,
        "program_version": found.program_version,
        "mean_inbreeding": found.mean_inbreeding,
        "is_behind": found.is_behind,
        "changes_since": found.results_since,
    }


def estimates(facts: TraitFacts) -> dict[str, Any]:
    """What a run found of a trait as a whole."""
    return {
        "trait": facts.trait.slug,
        "unit": facts.trait.unit,
        "records": facts.records,
        "variances": {
            "additive": facts.variances.additive,
            "litter": facts.variances.litter,
            "residual": facts.variances.residual,
        },
        "variances_from": str(facts.variances_from),
        "heritability": facts.heritability,
        "heritability_se": facts.heritability_se,
        "reliabilities": str(facts.method),
        "mean_reliability": facts.mean_reliability,
        "base": facts.base,
        "middle": facts.middle,
        "analysed_with": facts.partner_slug or None,
    }


def breeding_values(dog: PublicDog, found: RunFacts, values: Sequence[DogValue]) -> dict[str, Any]:
    """A dog's breeding values; none for a dog that came after the run."""
    return {
        "dog": dog.public_id,
        "run": run(found),
        "is_in_run": bool(values),
        "inbreeding": values[0].inbreeding if values else None,
        "values": [
            {"trait": each.facts.trait.slug, "unit": each.facts.trait.unit, **_value(each)}
            for each in values
        ],
        "cautions": every_caution(),
    }


def mates(
    dog: PublicDog, found: MatesFound, rows: Sequence[Mate], following: str | None
) -> dict[str, Any]:
    """A page of a dog's candidate mates, best expected litter first."""
    return {
        "dog": dog.public_id,
        "trait": found.facts.trait.slug,
        "run": run(found.run),
        "matching": found.matching,
        "total": found.total,
        "too_close_to_tell": found.close,
        "withheld": found.withheld,
        "items": [_mate(each, found.facts) for each in rows],
        "next": following,
        "cautions": every_caution(),
    }


def kinship(one: PublicDog, other: PublicDog, found: KinshipFacts) -> dict[str, Any]:
    """How closely two dogs are related."""
    relation = "same-dog" if one.pk == other.pk else found.relation
    return {
        "one": one.public_id,
        "other": other.public_id,
        "run": run(found.run),
        "kinship": found.kinship,
        "relation": relation or "none-near",
        "cautions": every_caution(),
    }


def forecasts(found: PairFacts, traits: Sequence[PairTrait]) -> dict[str, Any]:
    """The litter to expect of a pair in some traits."""
    return {
        "sire": found.sire.public_id,
        "dam": found.dam.public_id,
        "run": run(found.run),
        "kinship": found.kinship,
        "traits": [
            {
                "trait": each.facts.trait.slug,
                "unit": each.facts.trait.unit,
                "base": each.facts.base,
                "middle": each.facts.middle,
                "withheld": [dog.public_id for dog in each.withheld],
                "sire": _value(each.sire),
                "dam": _value(each.dam),
                "forecast": _litter(each),
            }
            for each in traits
        ],
        "cautions": every_caution(),
    }


def trend(breed_slug: str, course: Course) -> dict[str, Any]:
    """A breed's course as its run stored it, with the sentences of its page."""
    line, size = course.trend.line, course.size
    return {
        "breed": breed_slug,
        "trait": course.facts.trait.slug,
        "unit": course.facts.trait.unit,
        "run": run(course.run),
        "estimates": estimates(course.facts),
        "sentences": [*lead_of(course), *size_of(course)],
        "years": [_year(each) for each in course.trend.years],
        "line": line
        and {
            "per_year": line.per_year,
            "low": line.low,
            "high": line.high,
            "first": line.first,
            "last": line.last,
            "years": line.years,
        },
        "left_out": list(course.trend.left_out),
        "effective_size": size
        and {
            "size": _finite(size.size.size),
            "size_error": _finite(size.size.size_error),
            "rate": size.size.rate,
            "rate_error": size.size.rate_error,
            "dogs": size.size.dogs,
            "matings": size.size.matings,
            "generations": size.size.generations,
            "first_year": size.first_year,
            "last_year": size.last_year,
        },
        "cautions": every_caution(),
    }


def breeding_run(found: BreedingRun, breed_slug: str, *, is_staff: bool) -> dict[str, Any]:
    """A run of any state. A failure may name dogs: its words are for the register's keepers."""
    return {
        "breed": breed_slug,
        "number": found.number,
        "state": str(found.state),
        "asked_at": instant_text(found.asked_at),
        "started_at": found.started_at and instant_text(found.started_at),
        "finished_at": found.finished_at and instant_text(found.finished_at),
        "dogs": found.dogs,
        "inputs_sha256": found.inputs_sha256,
        "results_sha256": found.results_sha256,
        "program_version": found.program_version,
        "error": found.error if is_staff else "",
    }


def every_caution() -> list[str]:
    """What neither a result nor a forecast says."""
    return [str(each) for each in (*cautions(), *forecast_cautions())]


def _mate(each: Mate, facts: TraitFacts) -> dict[str, Any]:
    return {
        "id": each.public_id,
        "name": each.name,
        "born_on": str(each.born_on),
        "result": each.released and facts.trait.value_text(each.released.step),
        "kinship": each.kinship,
        "value": each.value.value,
        "reliability": each.value.reliability,
        "behind_the_first": each.behind,
        "is_too_close_to_tell": each.is_close,
        "forecast": _forecast(each.forecast, facts.middle),
    }


def _value(of: DogValue) -> dict[str, Any]:
    return {
        "is_withheld": of.is_withheld,
        "value": of.value,
        "reliability": of.reliability,
        "error_variance": of.error_variance,
    }


def _litter(each: PairTrait) -> dict[str, Any] | None:
    if each.forecast is None:
        return None
    trait = each.facts.trait
    best = float(each.ends[0 if trait.better == "lower" else 1])
    return _forecast(each.forecast, each.facts.middle, best)


def _forecast(found: Forecast, middle: float, best: float | None = None) -> dict[str, Any]:
    low, high = found.interval()
    return {
        "mean": found.mean,
        "sd": found.sd,
        "sd_between_littermates": found.sd_between_littermates,
        "low_80": low,
        "high_80": high,
        "share_better_than_middle": found.share_better_than(middle, best=best),
        "inbreeding": found.inbreeding,
    }


def _year(year: Year) -> dict[str, Any]:
    return {
        "year": year.year,
        "dogs": year.dogs,
        "tested": year.tested,
        "record": _mean(year.record),
        "value": _mean(year.value),
        "inbreeding": year.inbreeding,
    }


def _mean(mean: Mean | None) -> dict[str, float] | None:
    return None if mean is None else {"mean": mean.mean, "low": mean.low, "high": mean.high}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
