"""Breeding values, mates, kinships and forecasts: the JSON shape of each beside what fills it.
Numbers are in the trait's unit; what is withheld says so and carries none."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from api.shapes.breeding_runs import SHARE, SPREAD, every_caution, run
from api.shapes.common import (
    DAY,
    ID,
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
from registry.queries.breeding import DogValue, RunFacts, TraitFacts
from registry.queries.mates import Mate, MatesFound
from registry.queries.pairs import KinshipFacts, PairFacts, PairTrait
from registry.queries.public import PublicDog
from registry.science.grade_forecast import GradeForecast
from registry.science.litter import Forecast
from registry.telling import rounding

_VALUE: Schema = {
    "is_withheld": {**YES_NO, "description": "the owner has not released the dog's own result"},
    "value": {
        **maybe(NUMBER),
        "description": "deviation in the trait's unit, in steps of its results",
    },
    "reliability": maybe(SHARE), "error_variance": maybe(SPREAD),
}  # fmt: skip
BREEDING_VALUES = closed(
    {
        "dog": ID, "run": ref("Run"), "is_in_run": YES_NO, "inbreeding": maybe(SHARE),
        "values": list_of(closed({"trait": TEXT, "unit": TEXT, **_VALUE})),
        "cautions": list_of(TEXT),
    }
)  # fmt: skip
FORECAST = closed(
    {
        "mean": NUMBER, "sd": SPREAD, "sd_between_littermates": SPREAD,
        "low_80": NUMBER, "high_80": NUMBER,
        "share_better_than_middle": SHARE, "inbreeding": SHARE,
    }
)  # fmt: skip
GRADE_FORECAST = closed(
    {
        "grades": list_of(
            closed({"grade": TEXT, "share": SHARE,
                    "breed_share": {**SHARE, "description": "of the breed's tested dogs"}})
        ),
        "inbreeding": SHARE,
    }
)  # fmt: skip
_OF_GRADES: Schema = {
    **maybe(ref("GradeForecast")), "description": "of a graded trait, in place of forecast"
}  # fmt: skip
_HERITABILITY: Schema = {
    "heritability": {**SHARE, "description": "of a graded trait: on the liability behind it"},
    "heritability_se": maybe(SPREAD),
    "heritability_from": {
        "type": "string", "enum": ["records", "prior"],
        "description": "prior: borrowed from published studies, not known of this breed",
    },
}  # fmt: skip
MATE = closed(
    {
        "id": ID, "name": TEXT, "born_on": DAY,
        "result": {**maybe(TEXT), "description": "null: not tested or not released"},
        "kinship": SHARE, "value": NUMBER, "reliability": SHARE,
        "behind_the_first": SPREAD, "is_too_close_to_tell": YES_NO,
        "forecast": maybe(ref("Forecast")), "grade_forecast": _OF_GRADES,
    }
)  # fmt: skip
MATES = closed(
    {
        "dog": ID, "trait": TEXT, "run": ref("Run"), "matching": WHOLE, "total": WHOLE,
        "is_ranked": {**YES_NO, "description": "no: the least related come first"},
        "too_close_to_tell": {**WHOLE, "description": "besides the first"}, **_HERITABILITY,
        "withheld": {**WHOLE, "description": "not listed: their owners released no result"},
        "items": list_of(ref("Mate")), "next": maybe(TEXT), "cautions": list_of(TEXT),
    }
)  # fmt: skip
KINSHIP = closed(
    {
        "one": ID, "other": ID, "run": ref("Run"),
        "kinship": {**SHARE, "description": "the inbreeding to expect of their puppies"},
        "relation": {
            "type": "string",
            "enum": ["none-near", "same-dog", "parent", "full-siblings", "half-siblings"],
        },
        "cautions": list_of(TEXT),
    }
)  # fmt: skip
FORECASTS = closed(
    {
        "sire": ID, "dam": ID, "run": ref("Run"), "kinship": SHARE,
        "traits": list_of(
            closed(
                {
                    "trait": TEXT, "unit": TEXT, "base": NUMBER, "middle": NUMBER,
                    **_HERITABILITY,
                    "withheld": {**list_of(ID), "description": "whose result is not released"},
                    "sire": closed(_VALUE), "dam": closed(_VALUE),
                    "forecast": maybe(ref("Forecast")), "grade_forecast": _OF_GRADES,
                }
            )
        ),
        "cautions": list_of(TEXT),
    }
)  # fmt: skip


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
        "is_ranked": found.facts.is_ranked,
        "too_close_to_tell": found.close,
        **_heritability(found.facts),
        "withheld": found.withheld,
        "items": [_mate(each, found) for each in rows],
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
                "base": rounding.mean_in_unit(each.facts.base, each.facts.trait),
                "middle": rounding.mean_in_unit(each.facts.middle, each.facts.trait),
                **_heritability(each.facts),
                "withheld": [dog.public_id for dog in each.withheld],
                "sire": _value(each.sire),
                "dam": _value(each.dam),
                **_litter(each.forecast, each.facts),
            }
            for each in traits
        ],
        "cautions": every_caution(),
    }


def _mate(each: Mate, found: MatesFound) -> dict[str, Any]:
    facts = found.facts
    return {
        "id": each.public_id,
        "name": each.name,
        "born_on": str(each.born_on),
        "result": each.released and facts.trait.value_text(each.released.step),
        "kinship": each.kinship,
        "value": _in_unit(each.value.value, facts),
        "reliability": _reliability(each.value.reliability),
        "behind_the_first": rounding.in_steps(each.behind, facts.trait),
        "is_too_close_to_tell": each.is_close,
        **_litter(each.forecast, facts),
    }


def _value(of: DogValue) -> dict[str, Any]:
    return {
        "is_withheld": of.is_withheld,
        "value": _in_unit(of.value, of.facts),
        "reliability": _reliability(of.reliability),
        "error_variance": None if of.error_variance is None else rounding.spread(of.error_variance),
    }


def _in_unit(value: float | None, facts: TraitFacts) -> float | None:
    return None if value is None else rounding.in_steps(value, facts.trait)


def _reliability(value: float | None) -> float | None:
    return None if value is None else rounding.reliability(value)


def _heritability(facts: TraitFacts) -> dict[str, Any]:
    return {
        "heritability": rounding.share(facts.heritability),
        "heritability_se": facts.heritability_se and rounding.share(facts.heritability_se),
        "heritability_from": str(facts.variances_from),
    }


def _litter(found: Forecast | GradeForecast | None, facts: TraitFacts) -> dict[str, Any]:
    """The forecast of a measured or of a graded trait, the other one null."""
    if isinstance(found, GradeForecast):
        grades = zip(facts.trait.grades, found.shares, found.breed_shares, strict=True)
        of_grades = {
            "grades": [
                {
                    "grade": grade,
                    "share": rounding.share(share),
                    "breed_share": rounding.share(of_breed),
                }
                for grade, share, of_breed in grades
            ],
            "inbreeding": found.inbreeding,
        }
        return {"forecast": None, "grade_forecast": of_grades}
    numbers = None if found is None else _forecast(found, facts)
    return {"forecast": numbers, "grade_forecast": None}


def _forecast(found: Forecast, facts: TraitFacts) -> dict[str, Any]:
    low, high = found.interval()
    better = found.share_better_than(facts.middle, best=facts.best)
    return {
        "mean": rounding.in_steps(found.mean, facts.trait),
        "sd": rounding.spread(found.sd),
        "sd_between_littermates": rounding.spread(found.sd_between_littermates),
        "low_80": rounding.in_steps(low, facts.trait),
        "high_80": rounding.in_steps(high, facts.trait),
        "share_better_than_middle": rounding.share(better),
        "inbreeding": found.inbreeding,
    }
