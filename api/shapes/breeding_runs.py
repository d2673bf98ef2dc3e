"""Breeding runs and what they found of a breed: the JSON shape of each beside what fills it.
Numbers are in the trait's unit."""

from __future__ import annotations

import math
from typing import Any

from django.utils.crypto import salted_hmac

from api.shapes.common import (
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
from registry.queries.breeding import RunFacts, TraitFacts
from registry.queries.course import Course
from registry.science.trend import Mean, Year
from registry.telling import rounding
from registry.telling.course import lead_of, size_of
from registry.wording.breeding import forecast_cautions
from registry.wording.cautions import cautions

SHARE: Schema = {"type": "number", "minimum": 0, "maximum": 1}
SPREAD: Schema = {"type": "number", "minimum": 0}

RUN = closed(
    {
        "number": WHOLE, "finished_at": INSTANT, "dogs": WHOLE,
        "inputs_sha256": {
            **TEXT,
            "description": "fingerprint of what the run read, under a key of the registry: alike "
            "for alike inputs, and nothing can be tried against it",
        },
        "results_sha256": {**TEXT, "description": "fingerprint of what it found, likewise"},
        "program_version": TEXT, "mean_inbreeding": SHARE,
        "is_behind": {**YES_NO, "description": "results or pedigree changed since"},
        "changes_since": WHOLE,
    }
)  # fmt: skip
ESTIMATES = closed(
    {
        "trait": TEXT, "unit": TEXT, "records": WHOLE,
        "variances": closed({"additive": SPREAD, "litter": SPREAD, "residual": SPREAD}),
        "variances_from": {"type": "string", "enum": ["records", "prior"]},
        "heritability": SHARE, "heritability_se": maybe(SPREAD),
        "reliabilities": {"type": "string", "enum": ["exact", "approximate"]},
        "mean_reliability": SHARE,
        "base": {**NUMBER, "description": "the record to expect of a dog with breeding value 0"},
        "middle": {**NUMBER, "description": "the record of the middle tested dog"},
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
                    "inbreeding": SHARE,
                }
            )
        ),
        "line": maybe(
            closed({"per_year": NUMBER, "low": NUMBER, "high": NUMBER, "first": WHOLE,
                    "last": WHOLE, "years": WHOLE})
        ),
        "left_out": list_of(WHOLE),
        "effective_size": maybe(
            closed({"size": maybe(SPREAD), "size_error": maybe(SPREAD), "rate": NUMBER,
                    "rate_error": SPREAD, "dogs": WHOLE, "matings": WHOLE,
                    "generations": SPREAD, "first_year": WHOLE, "last_year": WHOLE})
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
        "inputs_sha256": _keyed(found.inputs_sha256),
        "results_sha256": _keyed(found.results_sha256),
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
            "additive": rounding.spread(facts.variances.additive),
            "litter": rounding.spread(facts.variances.litter),
            "residual": rounding.spread(facts.variances.residual),
        },
        "variances_from": str(facts.variances_from),
        "heritability": rounding.share(facts.heritability),
        "heritability_se": facts.heritability_se and rounding.share(facts.heritability_se),
        "reliabilities": str(facts.method),
        "mean_reliability": rounding.reliability(facts.mean_reliability),
        "base": rounding.mean_in_unit(facts.base, facts.trait),
        "middle": rounding.mean_in_unit(facts.middle, facts.trait),
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
        "years": [_year(each, course.facts) for each in course.trend.years],
        "line": line
        and {
            "per_year": rounding.spread(line.per_year),
            "low": rounding.spread(line.low),
            "high": rounding.spread(line.high),
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
        "inputs_sha256": _keyed(found.inputs_sha256),
        "results_sha256": _keyed(found.results_sha256),
        "program_version": found.program_version,
        "error": found.error if is_staff else "",
    }


def _keyed(fingerprint: str) -> str:
    """The fingerprint under the registry's key: who knew all records but a few withheld ones could
    try all values of these against a plain one. Empty where there is none yet."""
    if not fingerprint:
        return ""
    return salted_hmac("breeding-run", fingerprint, algorithm="sha256").hexdigest()


def every_caution() -> list[str]:
    """What neither a result nor a forecast says."""
    return [str(each) for each in (*cautions(), *forecast_cautions())]


def _year(year: Year, facts: TraitFacts) -> dict[str, Any]:
    return {
        "year": year.year,
        "dogs": year.dogs,
        "tested": year.tested,
        "record": _mean(year.record, facts),
        "value": _mean(year.value, facts),
        "inbreeding": year.inbreeding,
    }


def _mean(mean: Mean | None, facts: TraitFacts) -> dict[str, float] | None:
    if mean is None:
        return None
    ends = {"mean": mean.mean, "low": mean.low, "high": mean.high}
    return {name: rounding.mean_in_unit(each, facts.trait) for name, each in ends.items()}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
