"""What a clinic reads off an invented dog's films: from latent qualities to the traits' scales.

Each side of a dog has its own lasting part and every examination its own error, of the day and of
each reading; sex, clinic, reader and age add a little. A grade says between which thresholds a
side's liability lies. Results have the shape of the REST body's ``readings``. Pure: numbers
and a random generator in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

import numpy as np

from registry.demo.genetics import (
    CONGRUENCE,
    DAY_VARIANCE,
    ELBOW,
    FORM,
    LAXITY,
    QUALITIES,
    READING_VARIANCE,
    SIDE_VARIANCE,
    Values,
)
from registry.demo.scales import ELBOW_EDGES, HIP_FIT

SIDES = ("left", "right")

_SEX_SHIFT = 0.012  # bitches a little looser: an invention, like the other effects
# From 16 weeks to six years of age, less than a quarter of the index's spread in all.
_AGE_SHIFT_A_YEAR = -0.005
_OLDEST_SHIFT_YEARS = 6
# Of a hundred sides about 55 have the best fit, then 25, 12, 6 and 2; of a hundred dogs about 11
# have an elbow that is not clean.
_GRADE_LIMITS = (0.13, 0.89, 1.49, 2.17)
_ELBOW_LIMITS = (1.52, 2.00, 2.55)


@dataclass(frozen=True, slots=True)
class Joints:
    """Where a breed's dogs lie on the traits' scales."""

    index_mean: float
    index_sd: float
    norberg_mean: float
    norberg_sd: float
    elbow_shift: float
    head_radius_mm: dict[str, float]


@dataclass(frozen=True, slots=True)
class Examined:
    """One dog on the table: its sex and age, how much higher clinic and reader measure the index,
    and which traits are read."""

    sex: str
    age_years: float
    index_shift: float
    traits: frozenset[str]
    gives_lengths: bool


def lasting_sides(values: Values, rng: np.random.Generator) -> Values:
    """Each side's own lasting level; ``values`` of shape (n, 4), the result of shape (n, 2, 4)."""
    n = len(values)
    drawn = rng.standard_normal((n, 2, QUALITIES))
    sides: Values = values[:, None, :] + drawn * np.sqrt(SIDE_VARIANCE)
    return sides


def readings(
    sides: Values, joints: Joints, examined: Examined, rng: np.random.Generator
) -> list[dict[str, Any]]:
    """The readings of one examination; ``sides`` of shape (2, 4) is what lasts of each side."""
    of_the_day = rng.standard_normal(QUALITIES) * np.sqrt(DAY_VARIANCE)
    of_reading = rng.standard_normal((2, QUALITIES)) * np.sqrt(READING_VARIANCE)
    seen: Values = sides + of_the_day + of_reading
    found: list[dict[str, Any]] = []
    for place, side in enumerate(SIDES):
        index = _index(seen[place, LAXITY], joints, examined)
        if "hip-laxity" in examined.traits:
            found.append(_laxity("hip-laxity", side, index, joints, examined, rng))
        if "hip-laxity-compression" in examined.traits:
            pressed = float(np.clip(0.22 * index + rng.normal(0, 0.006), 0.01, 0.55))
            found.append(_laxity("hip-laxity-compression", side, pressed, joints, examined, rng))
        angle = joints.norberg_mean + joints.norberg_sd * seen[place, CONGRUENCE]
        if "norberg-angle" in examined.traits:
            half_degrees = round(float(np.clip(angle, 72, 124)) * 2)
            found.append(_reading("norberg-angle", side, str(Decimal(half_degrees) / 2)))
        if "hip-grade-extended" in examined.traits:
            found.append(_reading("hip-grade-extended", side, _grade(seen[place, FORM])))
        if "elbow-grade" in examined.traits:
            fault = seen[place, ELBOW] + joints.elbow_shift
            found.append(_reading("elbow-grade", side, _elbow(fault)))
    return found


def lengths_for(index: float, radius_mm: float) -> tuple[str, str]:
    """Head radius and displacement in tenths of a millimetre that give about this index."""
    return f"{radius_mm:.1f}", f"{round(index * round(radius_mm, 1), 1):.1f}"


def index_of(found: Sequence[dict[str, Any]], side: str) -> float:
    """Hip laxity that the readings give a side; 0.4 when it was not read."""
    for reading in found:
        if reading["trait"] == "hip-laxity" and reading["side"] == side:
            if "value" in reading:
                return float(reading["value"])
            return float(reading["displacement_mm"]) / float(reading["head_radius_mm"])
    return 0.4


def _index(laxity: float, joints: Joints, examined: Examined) -> float:
    index = joints.index_mean + joints.index_sd * laxity + examined.index_shift
    index += _SEX_SHIFT / 2 if examined.sex == "F" else -_SEX_SHIFT / 2
    index += _AGE_SHIFT_A_YEAR * min(examined.age_years, _OLDEST_SHIFT_YEARS)
    return float(np.clip(index, 0.08, 1.15))


def _laxity(
    slug: str,
    side: str,
    index: float,
    joints: Joints,
    examined: Examined,
    rng: np.random.Generator,
) -> dict[str, Any]:
    if not examined.gives_lengths:
        value = Decimal(repr(index)).quantize(Decimal("0.01"), ROUND_HALF_EVEN)
        return _reading(slug, side, str(value))
    radius = joints.head_radius_mm[examined.sex] * float(rng.normal(1, 0.04))
    head, displacement = lengths_for(index, radius)
    return {"trait": slug, "side": side, "head_radius_mm": head, "displacement_mm": displacement}


def _reading(slug: str, side: str, value: str) -> dict[str, Any]:
    return {"trait": slug, "side": side, "value": value}


def _grade(liability: float) -> str:
    return HIP_FIT[sum(liability > limit for limit in _GRADE_LIMITS)]


def _elbow(fault: float) -> str:
    return ELBOW_EDGES[sum(fault > limit for limit in _ELBOW_LIMITS)]
