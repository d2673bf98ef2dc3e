"""The form of a draft's measurements: for each trait left beside right, as value or as lengths."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from registry.models import Side, Trait
from registry.web.clinic.sections import SectionForm, with_given


class MeasurementsForm(SectionForm):
    """Boxes for every trait: left and right side by side, whichever were read."""

    section = "measurements"
    members = ("readings",)

    def __init__(self, traits: list[Trait], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.traits = traits
        self.places: list[tuple[str, str]] = []
        for trait in traits:
            for side in sides_of(trait):
                for member in members_of(trait):
                    self.fields[box(trait.slug, side, member)] = _box_field(trait, side, member)

    @staticmethod
    def shown(answers: Mapping[str, Any]) -> dict[str, Any]:
        """What the boxes show for the answers so far."""
        return {
            box(reading["trait"], reading["side"], member): value
            for reading in answers.get("readings", [])
            for member, value in reading.items()
            if member not in {"trait", "side"}
        }

    def put_into(self, answers: Mapping[str, Any]) -> dict[str, Any]:
        """The answers with this section's in place; empty boxes are no reading."""
        readings = list(self._readings())
        self.places = [(reading["trait"], reading["side"]) for reading in readings]
        return with_given(answers, {"readings": readings})

    def box_at(self, pointer: str) -> str | None:
        """The box of ``/readings/<place>/<member>``."""
        return box_of_reading(pointer, self.places)

    def fields_of(self, trait: Trait, members: tuple[str, ...]) -> list[forms.BoundField]:
        """The trait's boxes for these members, left before right."""
        return [
            self[box(trait.slug, side, member)]
            for member in members
            if member in members_of(trait)
            for side in sides_of(trait)
        ]

    def _readings(self) -> Iterator[dict[str, str]]:
        for trait in self.traits:
            for side in sides_of(trait):
                values = {
                    member: self.typed(box(trait.slug, side, member))
                    for member in members_of(trait)
                }
                given = {member: value for member, value in values.items() if value}
                if given:
                    yield {"trait": trait.slug, "side": side, **given}


def box_of_reading(pointer: str, places: list[tuple[str, str]]) -> str | None:
    """The box that ``/readings/<place>`` or ``/readings/<place>/<member>`` means."""
    _empty, _readings, place, member = [*pointer.split("/"), "", "", ""][:4]
    if not place.isdecimal() or int(place) >= len(places):
        return None
    slug, side = places[int(place)]
    return box(slug, side, member or "value")


def sides_of(trait: Trait) -> tuple[str, ...]:
    """Left is always left on the page."""
    return (Side.LEFT.value, Side.RIGHT.value) if trait.is_per_side else (Side.WHOLE.value,)


def members_of(trait: Trait) -> tuple[str, ...]:
    """Which boxes a side of the trait has."""
    lengths = ("head_radius_mm", "displacement_mm") if trait.from_radius else ()
    return ("value", *lengths)


def box(slug: str, side: str, member: str) -> str:
    """The name of a box."""
    return f"{slug}-{side}-{member}"


def _box_field(trait: Trait, side: str, member: str) -> forms.Field:
    value = _("value in %(unit)s") % {"unit": trait.unit} if trait.unit else _("value")
    if trait.is_graded:
        value = _("grade")
    words = {
        "value": value,
        "head_radius_mm": _("head radius in mm"),
        "displacement_mm": _("displacement in mm"),
    }[member]
    sides = {"left": _("Left"), "right": _("Right"), "whole": _("Whole dog")}
    label = f"{sides[side]}: {words}"
    if trait.is_graded:
        grades = [(str(grade), str(grade)) for grade in trait.grades]
        return forms.ChoiceField(label=label, required=False, choices=[("", "–"), *grades])
    attributes = {"inputmode": "decimal", "autocomplete": "off"}
    return forms.CharField(
        label=label, required=False, max_length=12, widget=forms.TextInput(attrs=attributes)
    )
