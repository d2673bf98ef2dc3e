"""Certificates and distributions, for everyone: the JSON shape of each beside what fills it."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from api.shapes.common import (
    DAY,
    ID,
    INSTANT,
    NUMBER,
    TEXT,
    WHOLE,
    Schema,
    closed,
    list_of,
    maybe,
    ref,
)  # fmt: skip
from registry.ledger.append import instant_text
from registry.models import Breed, Trait
from registry.queries.breed_counts import BreedCounts, breed_counts
from registry.queries.distributions import Distribution
from registry.queries.history import changes_of_evaluation
from registry.queries.places import (
    IssuedPlace,
    Place,
    newer_values,
    place_as_issued,
    place_of,
    without,
)
from registry.queries.public import CertificateRecord, PublicTrait, ReadTrait, Relative, family_of
from registry.queries.within_dogs import MOST_MONTHS
from registry.science.standing import FEWEST_TO_COMPARE, joined
from registry.telling.verdicts import verdict_on
from registry.wording.cautions import cautions

_COUNTS: Schema = {
    "better": {**WHOLE, "description": "other dogs that did better"},
    "equal": {**WHOLE, "description": "other dogs with the same value"},
    "worse": {**WHOLE, "description": "other dogs that did worse"},
    "n": {**WHOLE, "description": "all other dogs it is compared with; never the dog itself"},
    "first_month": DAY, "last_month": DAY,
}  # fmt: skip
_SECOND_EXAM = closed(
    {
        "low": {
            **NUMBER,
            "description": "share, 0 to 1, of other dogs that would be better after a second exam "
            "of the dog: from low to high 95 times of 100, by value ± 1.96 √2 within_dog_sd, "
            "joined with the interval by Wilson (1927) of better / n",
        },
        "high": NUMBER,
        "within_dog_sd": {
            **NUMBER,
            "description": "standard deviation within a dog of the value that speaks, in the unit "
            "of the trait (Bland and Altman 1996)",
        },
        "source": {**TEXT, "description": "where within_dog_sd comes from"},
    }
)
STANDING_ISSUED = closed(_COUNTS)
STANDING_TODAY = closed(
    {
        **_COUNTS,
        "share": {
            **maybe(NUMBER),
            "description": "(better + equal / 2) / n, 0 is best; null below 20 other dogs",
        },
        "low": {
            **maybe(NUMBER),
            "description": "95 % interval of the share by Wilson (1927): the chance of which dogs "
            "were tested, without the dog's own measuring error",
        },
        "high": maybe(NUMBER),
        "second_exam": {
            **maybe(_SECOND_EXAM),
            "description": "null: how far a second exam might differ is not known, or there are "
            "below 20 other dogs",
        },
    }
)
RELATIVE = closed(
    {
        "relation": {"type": "string", "enum": ["sire", "dam", "litter"]}, "id": ID, "name": TEXT,
        "sex": TEXT, "born_on": DAY,
        "values": {
            **list_of(closed({"trait": TEXT, "value": TEXT})),
            "description": "empty: not tested or not released",
        },
    }
)  # fmt: skip
RESULT = closed(
    {
        "trait": TEXT, "name": TEXT, "unit": TEXT, "better": TEXT, "worse": TEXT,
        "values": closed({"left": TEXT, "right": TEXT, "whole": TEXT},
                         optional=("left", "right", "whole")),
        "speaks": TEXT,
        "counts_today": {
            "type": "boolean",
            "description": "whether the breed's counts of today hold the dog with this value: "
            "false for one that is too old or that a newer exam replaced",
        },
        "standing_as_issued": maybe(ref("StandingAsIssued")),
        "standing_today": maybe(ref("StandingToday")),
    }
)  # fmt: skip
CERTIFICATE = closed(
    {
        "number": TEXT,
        "verdict": {"type": "string", "enum": ["genuine", "replaced", "revoked", "not-released"]},
        "word": TEXT, "lines": list_of(TEXT), "issued_at": INSTANT, "examined_on": DAY,
        "submitted_at": {**INSTANT, "description": "when it was sent in, by the server's clock"},
        "announced_at": {**maybe(INSTANT), "description": "null: not announced"},
        "clinic": closed({"name": TEXT, "town": TEXT}),
        "dog": closed({"id": ID, "name": TEXT, "call_name": TEXT, "breed": TEXT, "sex": TEXT,
                       "born_on": DAY, "colour": TEXT,
                       "chip_end": {"type": "string", "description": "its last six digits"}}),
        "newer": maybe(TEXT), "results": list_of(ref("Result")),
        "family": list_of(ref("Relative")), "cautions": list_of(TEXT),
    }
)  # fmt: skip
DISTRIBUTION = closed(
    {
        "breed": TEXT, "trait": TEXT, "unit": TEXT,
        "sex": maybe({"type": "string", "enum": ["F", "M"]}),
        "as_of": {**maybe(INSTANT), "description": "null: the counts of this moment"},
        "state_at": {
            **maybe(INSTANT),
            "description": "when these counts became public; null before the first state",
        },
        "first_at": {
            **maybe(INSTANT),
            "description": "when the first results came into these counts; given only where as_of "
            "lies before that",
        },
        "first_month": DAY, "last_month": DAY, "window_months": WHOLE, "n": WHOLE,
        "can_compare": {"type": "boolean", "description": "false below 20 dogs"},
        "cells": list_of(closed({"step": WHOLE, "value": TEXT, "dogs": WHOLE})),
        "mean": maybe(NUMBER),
        "sd": {**maybe(NUMBER), "description": "divisor n - 1"},
        "quantiles": maybe(closed({f"p{share}": NUMBER for share in (5, 25, 50, 75, 95)})),
        "quantile_definition": TEXT,
        "counted": TEXT,
    }
)  # fmt: skip


def certificate(record: CertificateRecord) -> dict[str, Any]:
    """A certificate with its verdict; readings only where the owner has agreed to show them."""
    entries = changes_of_evaluation(record.evaluation_id)
    verdict = verdict_on(record, entries)
    dog = record.dog
    counted = [read for read in record.readings if read.trait.is_counted]
    now = timezone.now()
    counts = breed_counts(
        dog.breed_id,
        window_months=dog.window_months,
        now=now,
        evaluation_id=record.evaluation_pk,
        with_within=True,
    )
    counts = without(counts, newer_values(record, now=now))
    return {
        "number": record.number,
        "verdict": verdict.kind,
        "word": str(verdict.word),
        "lines": [str(line) for line in verdict.lines],
        "issued_at": instant_text(record.issued_at),
        "examined_on": str(record.examined_on),
        "submitted_at": instant_text(record.submitted_at),
        "announced_at": instant_text(record.announced_at) if record.announced_at else None,
        "clinic": {"name": record.clinic, "town": record.clinic_town},
        "dog": {
            "id": dog.public_id,
            "name": dog.name,
            "call_name": dog.call_name,
            "breed": dog.breed_slug,
            "sex": dog.sex,
            "born_on": str(dog.born_on),
            "colour": dog.colour,
            "chip_end": dog.chip[-6:],
        },
        "newer": record.newer or None,
        "results": [_result(record, read, counts) for read in record.readings],
        "family": [_relative(each) for each in family_of(dog, [read.trait for read in counted])],
        "cautions": [str(caution) for caution in cautions()],
    }


def _result(record: CertificateRecord, read: ReadTrait, counts: BreedCounts) -> dict[str, Any]:
    trait = read.trait
    issued = place_as_issued(record, read)
    today = place_of(
        counts, trait.pk, read.spoken, trait.better, evaluation_id=record.evaluation_pk
    )
    return {
        "trait": trait.slug,
        "name": trait.name,
        "unit": trait.unit,
        "better": trait.better_word,
        "worse": trait.worse_word,
        "values": {side: trait.value_text(step) for side, step in read.steps.items()},
        "speaks": trait.value_text(read.spoken),
        "counts_today": today.is_inside,
        "standing_as_issued": _place(issued) if issued else None,
        "standing_today": _today(today, trait) if trait.is_counted else None,
    }


def _today(place: Place, trait: PublicTrait) -> dict[str, Any]:
    found = place.standing
    return {
        **_place(place),
        "share": found.share,
        "low": found.low,
        "high": found.high,
        "second_exam": _second_exam(place, trait),
    }


def _second_exam(place: Place, trait: PublicTrait) -> dict[str, Any] | None:
    if place.within is None or place.second is None or place.standing.too_few:
        return None
    low, high = joined(place.standing, place.second)
    return {
        "low": low,
        "high": high,
        "within_dog_sd": place.within.sd_steps * float(trait.resolution),
        "source": place.within.source
        or f"{place.within.pairs} repeat exams in this register, released ones only, each "
        f"at most {MOST_MONTHS} months after the exam before",
    }


def _place(place: Place | IssuedPlace) -> dict[str, Any]:
    found = place.standing
    return {
        "better": found.better,
        "equal": found.equal,
        "worse": found.worse,
        "n": found.n,
        "first_month": str(place.first_month),
        "last_month": str(place.last_month),
    }


def _relative(found: Relative) -> dict[str, Any]:
    return {
        "relation": found.relation,
        "id": found.public_id,
        "name": found.name,
        "sex": found.sex,
        "born_on": str(found.born_on),
        "values": [
            {"trait": value.trait.slug, "value": value.trait.value_text(value.step)}
            for value in found.values
        ],
    }


def distribution(
    breed: Breed, trait: Trait, found: Distribution, *, is_past: bool
) -> dict[str, Any]:
    """Exact counts and what follows from them. Grades have no mean, and few dogs no quantiles."""
    histogram = found.histogram
    can_compare = histogram.n >= FEWEST_TO_COMPARE
    has_numbers = can_compare and not trait.is_graded
    resolution = float(trait.resolution)
    return {
        "breed": breed.slug,
        "trait": trait.slug,
        "unit": trait.unit,
        "sex": found.sex or None,
        "as_of": instant_text(found.as_of) if is_past else None,
        "state_at": instant_text(found.state_at) if found.state_at else None,
        "first_at": instant_text(found.first_at) if found.first_at else None,
        "first_month": str(found.first_month),
        "last_month": str(found.last_month),
        "window_months": found.window_months,
        "n": histogram.n,
        "can_compare": can_compare,
        "cells": [
            {"step": step, "value": trait.value_text(step), "dogs": dogs}
            for step, dogs in histogram.rows()
        ],
        "mean": histogram.mean(trait.resolution) if has_numbers else None,
        "sd": histogram.sd(trait.resolution) if has_numbers else None,
        "quantiles": {
            f"p{share}": round(histogram.quantile(share / 100) * resolution, 9)
            for share in (5, 25, 50, 75, 95)
        }
        if has_numbers
        else None,
        "quantile_definition": "Hyndman and Fan (1996), type 7",
        "counted": "One value a dog: its latest accepted examination with the trait, by the worse "
        "side. Dogs whose owner released nothing are in the counts and nowhere else.",
    }
