"""What a trait's guidance points say: of one dog's value in the text, all of them in the details.

A picture's axis carries plain numbers only. A point of a trait is ``value`` and ``sentence``, where
it is from (``source``: a publication or "common practice", and after a semicolon where to read on),
and, so that it can be said of one dog, ``side`` (for which values it holds: "below", "above", or
"from" the point on, the better end of a trait of which more is better) and ``meaning``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from registry.queries.public import PublicTrait
from registry.science.distribution import Histogram
from registry.wording.standings import capitalised

_SIDES = ("below", "above", "from")


@dataclass(frozen=True, slots=True)
class Note:
    """A guidance point for the details: its sentence, and where it is from."""

    sentence: str
    source: str


def notes_of(trait: PublicTrait) -> tuple[Note, ...]:
    """All of the trait's guidance points, in the order of its scale."""
    return tuple(Note(str(point["sentence"]), str(point["source"])) for point in trait.guidance)


def guidance_sentences(trait: PublicTrait, step: int) -> tuple[str, ...]:
    """What the guidance points say of a value, to stand near it; nothing where there are none.

    Of the points that hold for the value the nearest one speaks. Where none holds, the value is
    placed between its neighbours, and what they would say is told.
    """
    value = step * trait.resolution
    told = [point for point in trait.guidance if point.get("side") in _SIDES]
    holding = [point for point in told if _holds(point, value)]
    if holding:
        return (_holding(trait, min(holding, key=lambda point: _distance(point, value)), step),)
    return _between(trait, told, step)


def axis_ends(trait: PublicTrait, counts: Histogram) -> tuple[str, str]:
    """The words at the better and the worse end of a picture: ``Tighter, to 0.05``. Grades are
    named on the axis, all of them, so their ends say so alone."""
    if trait.grades:
        return _("Better grade"), _("Worse grade")
    words = capitalised(trait.better_word), capitalised(trait.worse_word)
    if not counts.n:
        return words
    ends = [counts.first_step, counts.last_step]
    if trait.better == "higher":
        ends.reverse()
    better, worse = (
        _("%(word)s, to %(value)s") % {"word": word, "value": trait.value_text(step)}
        for word, step in zip(words, ends, strict=True)
    )
    return better, worse


def direction(trait: PublicTrait) -> tuple[str, ...]:
    """Which end is better, where the words of the ends do not say it by themselves and a standing
    is silent: ``A larger angle is better.``"""
    return (better_end(trait),) if trait.better_word.startswith(_("better")) else ()


def better_end(trait: PublicTrait) -> str:
    """Which end of the scale is better, as a sentence of its own."""
    if trait.grades:
        return _("%(best)s is the best grade.") % {"best": capitalised(str(trait.grades[0]))}
    if trait.unit == "°":
        return _larger(_("A larger angle is better."), _("A smaller angle is better."), trait)
    # "Better-fitting is better" would say nothing.
    if not trait.better_word.startswith(_("better")):
        return _("%(better)s is better.") % {"better": capitalised(trait.better_word)}
    return _larger(_("A higher value is better."), _("A lower value is better."), trait)


def _larger(more: str, less: str, trait: PublicTrait) -> str:
    return more if trait.better == "higher" else less


def _holds(point: Mapping[str, Any], value: Decimal) -> bool:
    at = Decimal(point["value"])
    return {"below": value < at, "above": value > at, "from": value >= at}[point["side"]]


def _distance(point: Mapping[str, Any], value: Decimal) -> Decimal:
    return abs(Decimal(point["value"]) - value)


def _holding(trait: PublicTrait, point: Mapping[str, Any], step: int) -> str:
    patterns = {
        "below": _("%(value)s lies below %(point)s, where %(meaning)s (%(source)s)."),
        "above": _("%(value)s lies above %(point)s, where %(meaning)s (%(source)s)."),
        "from": _("%(value)s is %(point)s or more, where %(meaning)s (%(source)s)."),
    }
    return patterns[point["side"]] % {
        "value": trait.value_text(step),
        "point": _at(trait, point),
        "meaning": point["meaning"],
        "source": _short_source(point),
    }


def _between(trait: PublicTrait, told: list[Mapping[str, Any]], step: int) -> tuple[str, ...]:
    value = step * trait.resolution
    under = [point for point in told if Decimal(point["value"]) <= value]
    over = [point for point in told if Decimal(point["value"]) >= value]
    low = max(under, key=lambda point: Decimal(point["value"]), default=None)
    high = min(over, key=lambda point: Decimal(point["value"]), default=None)
    names = {"value": trait.value_text(step)}
    if low is not None and high is not None and low is not high:
        place = _("%(value)s lies between %(low)s and %(high)s.") % {
            **names,
            "low": _at(trait, low),
            "high": _at(trait, high),
        }
        return (place, _held(trait, low), _held(trait, high))
    point = low or high
    if point is None:
        return ()
    if Decimal(point["value"]) == value:
        return (_("%(value)s lies on the limit itself.") % names, _held(trait, point))
    pattern = _("%(value)s lies above %(point)s.") if low else _("%(value)s lies below %(point)s.")
    return (pattern % {**names, "point": _at(trait, point)}, _held(trait, point))


def _held(trait: PublicTrait, point: Mapping[str, Any]) -> str:
    """What is held of values on the point's side, of a value that is not there."""
    patterns = {
        "below": _("Below %(point)s, %(meaning)s (%(source)s)."),
        "above": _("Above %(point)s, %(meaning)s (%(source)s)."),
        "from": _("From %(point)s on, %(meaning)s (%(source)s)."),
    }
    return patterns[point["side"]] % {
        "point": _at(trait, point),
        "meaning": point["meaning"],
        "source": _short_source(point),
    }


def _short_source(point: Mapping[str, Any]) -> str:
    return str(point["source"]).split(";", 1)[0]


def _at(trait: PublicTrait, point: Mapping[str, Any]) -> str:
    return f"{str(point['value']).removesuffix('.0')}{trait.unit}"
