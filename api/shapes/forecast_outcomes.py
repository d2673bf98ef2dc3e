"""What came of a breed's forecasts: the JSON shape beside what fills it. Numbers are in the trait's
unit, rounded as they were stored."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from api.shapes.breeding_runs import SHARE, SPREAD, every_caution
from api.shapes.common import INSTANT, NUMBER, TEXT, WHOLE, Schema, closed, list_of, maybe
from registry.ledger.append import instant_text
from registry.queries.forecast_checks import Numbers, Outcome
from registry.queries.public import PublicTrait
from registry.science.forecast_check import PARTS, SAID, Estimate
from registry.telling.forecast_outcomes import outcome_sentences
from registry.wording.forecast_outcomes import compared_words


def _estimate_of(value: Schema, description: str) -> Schema:
    ends = closed({"value": value, "low": value, "high": value})
    return {**ends, "description": f"{description}, with its 95 % interval"}


_SLOPE = _estimate_of(
    NUMBER, "result on forecast among litters of one birth year, 1 where they agree"
)
_LATER = closed(
    {
        "dogs": WHOLE,
        "lean": _estimate_of(NUMBER, "mean of the parents' mean then less the puppy's value now"),
        "slope": _estimate_of(NUMBER, "the value now on the parents' mean then"),
        "ratio": _estimate_of(NUMBER, "correlation of both: the early accuracy over the later"),
    }
)
_NUMBERS = closed(
    {
        "inside": _estimate_of(SHARE, "share of puppies inside their range"),
        "lean": _estimate_of(NUMBER, "mean of result less forecast"),
        "sd": {**SPREAD, "description": "mean standard deviation that forecasts gave a puppy"},
        "slope": maybe(_SLOPE),
        "fifths": {
            **list_of(WHOLE), "minItems": PARTS, "maxItems": PARTS,
            "description": "puppies by fifth of their own forecast, lowest numbers first",
        },
        "later": {**maybe(_LATER), "description": "breeding values then against those now"},
    }
)  # fmt: skip
FORECAST_OUTCOMES = closed(
    {
        "breed": TEXT,
        "said_inside": {**SHARE, "description": "share of puppies that a range should hold"},
        "traits": list_of(
            closed(
                {
                    "trait": TEXT, "unit": TEXT,
                    "run": {**maybe(WHOLE), "description": "number of the run that compared"},
                    "run_at": maybe(INSTANT), "puppies": WHOLE, "litters": WHOLE,
                    "numbers": {
                        **maybe(_NUMBERS),
                        "description": "null: grades, or too few puppies; sentences say which",
                    },
                    "sentences": list_of(TEXT),
                }
            )
        ),
        "compared": {**list_of(TEXT), "description": "what is compared with what"},
        "cautions": list_of(TEXT),
    }
)  # fmt: skip


def forecast_outcomes_of(
    breed: str, traits: Sequence[PublicTrait], outcomes: Mapping[int, Outcome]
) -> dict[str, Any]:
    """The counted traits in the order of pages, each with its latest comparison."""
    return {
        "breed": breed,
        "said_inside": SAID,
        "traits": [_trait(trait, outcomes.get(trait.pk)) for trait in traits if trait.is_counted],
        "compared": compared_words(),
        "cautions": every_caution(),
    }


def _trait(trait: PublicTrait, outcome: Outcome | None) -> dict[str, Any]:
    return {
        "trait": trait.slug,
        "unit": trait.unit,
        "run": outcome and outcome.run,
        "run_at": outcome and instant_text(outcome.run_at),
        "puppies": outcome.puppies if outcome else 0,
        "litters": outcome.litters if outcome else 0,
        "numbers": outcome and outcome.numbers and _numbers(outcome.numbers),
        "sentences": outcome_sentences(trait, outcome),
    }


def _numbers(found: Numbers) -> dict[str, Any]:
    later = found.later
    return {
        "inside": _estimate(found.inside),
        "lean": _estimate(found.lean),
        "sd": found.sd,
        "slope": found.slope and _estimate(found.slope),
        "fifths": list(found.parts),
        "later": later
        and {
            "dogs": later.dogs,
            "lean": _estimate(later.lean),
            "slope": _estimate(later.slope),
            "ratio": _estimate(later.ratio),
        },
    }


def _estimate(of: Estimate) -> dict[str, float]:
    return {"value": of.value, "low": of.low, "high": of.high}
