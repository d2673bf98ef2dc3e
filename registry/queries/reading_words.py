"""An evaluation's readings as lines of words: trait, sides, values."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext as _

from registry.models import Reading, Side, Trait


def readings_in_words(readings: Iterable[Reading]) -> list[str]:
    """One line a trait: ``Hip laxity: left 0.35, right 0.31``; traits must be loaded."""
    by_trait: dict[Trait, dict[str, Reading]] = {}
    for reading in readings:
        by_trait.setdefault(reading.trait, {})[reading.side] = reading
    return [
        f"{trait.name}: " + ", ".join(_side(sides[side]) for side in Side.values if side in sides)
        for trait, sides in sorted(by_trait.items(), key=lambda pair: pair[0].position)
    ]


def value_with_unit(reading: Reading) -> str:
    """``0.35``, ``104.5°``, ``B``."""
    unit = reading.trait.unit
    gap = "" if unit in {"", "°"} else " "
    return f"{reading.value_text}{gap}{unit}"


def _side(reading: Reading) -> str:
    if reading.side == Side.WHOLE:
        return value_with_unit(reading)
    side = _("left") if reading.side == Side.LEFT else _("right")
    return f"{side} {value_with_unit(reading)}"
