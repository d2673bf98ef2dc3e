"""The forms of a draft's sections, between boxes on a page and the REST body that a draft keeps."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.desk.answers import Restraint
from registry.models import Side, Trait
from registry.web.forms import PlainDateField, PlainForm

YES_NO = (("yes", gettext_lazy("yes")), ("no", gettext_lazy("no")))


class SectionForm(PlainForm):
    """A part of the answers; ``version`` is the draft's as it was shown."""

    version = forms.IntegerField(widget=forms.HiddenInput)


class ExaminationForm(SectionForm):
    """When, by whom, and how the dog was kept still."""

    examined_on = PlainDateField(label=gettext_lazy("Day of the examination"))
    examiner = forms.CharField(label=gettext_lazy("Veterinarian who examined"), max_length=120)
    restraint = forms.ChoiceField(
        label=gettext_lazy("How was the dog kept still?"),
        choices=Restraint.choices,
        widget=forms.RadioSelect,
    )
    chip_read = forms.ChoiceField(
        label=gettext_lazy("Was the chip read at the examination?"),
        choices=YES_NO,
        widget=forms.RadioSelect,
    )
    chip_as_read = forms.CharField(
        label=gettext_lazy("Chip number as read, if it is another one"),
        max_length=40,
        required=False,
    )
    weight_kg = forms.CharField(
        label=gettext_lazy("Weight in kilograms"),
        max_length=8,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
    )

    @staticmethod
    def shown(answers: dict[str, Any]) -> dict[str, Any]:
        """What the boxes show for the answers so far."""
        conditions = answers.get("conditions", {})
        chip_read = conditions.get("chip_read")
        return {
            "examined_on": answers.get("examined_on", ""),
            "examiner": answers.get("examiner", ""),
            "restraint": conditions.get("restraint"),
            "chip_read": {True: "yes", False: "no"}.get(chip_read),
            "chip_as_read": conditions.get("chip_as_read", ""),
            "weight_kg": conditions.get("weight_kg", ""),
        }

    def put_into(self, answers: dict[str, Any]) -> dict[str, Any]:
        """The answers with this section's in place."""
        given = self.cleaned_data
        conditions = {
            "restraint": given["restraint"],
            "chip_read": given["chip_read"] == "yes",
            "chip_as_read": given["chip_as_read"],
            "weight_kg": given["weight_kg"],
        }
        return {
            **answers,
            "examined_on": given["examined_on"].isoformat(),
            "examiner": given["examiner"],
            "conditions": {name: value for name, value in conditions.items() if value != ""},
        }


class OwnerForm(SectionForm):
    """Whose dog it is, and whether the club may show the result."""

    full_name = forms.CharField(
        label=gettext_lazy("Owner's full name"), max_length=120, required=False
    )
    email = forms.CharField(
        label=gettext_lazy("Owner's mail address"),
        help_text=gettext_lazy("The owner gets a private link to the result there."),
        max_length=254,
        required=False,
    )
    consent = forms.ChoiceField(
        label=gettext_lazy("Does the owner agree that the club shows this result to everybody?"),
        help_text=gettext_lazy(
            "Without consent the dog's page says that it was examined and that the result is not"
            " released. It counts in the breed's numbers either way, without the dog's name."
        ),
        choices=YES_NO,
        widget=forms.RadioSelect,
    )

    @staticmethod
    def shown(answers: dict[str, Any]) -> dict[str, Any]:
        """What the boxes show for the answers so far."""
        owner = answers.get("owner", {})
        return {
            "full_name": owner.get("full_name", ""),
            "email": owner.get("email", ""),
            "consent": {True: "yes", False: "no"}.get(answers.get("consent_to_publish")),
        }

    def put_into(self, answers: dict[str, Any]) -> dict[str, Any]:
        """The answers with this section's in place."""
        given = self.cleaned_data
        kept = {name: value for name, value in answers.items() if name != "owner"}
        if given["full_name"] or given["email"]:
            kept["owner"] = {"full_name": given["full_name"], "email": given["email"]}
        return {**kept, "consent_to_publish": given["consent"] == "yes"}


class MeasurementsForm(SectionForm):
    """Boxes for every trait: left and right side by side, whichever were read."""

    def __init__(self, traits: list[Trait], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.traits = traits
        for trait in traits:
            for side in sides_of(trait):
                for member, words in members_of(trait):
                    self.fields[box(trait, side, member)] = forms.CharField(
                        label=_side_words(side, words, trait),
                        required=False,
                        max_length=12,
                        widget=forms.TextInput(
                            attrs={
                                "inputmode": "text" if trait.is_graded else "decimal",
                                "autocomplete": "off",
                            }
                        ),
                    )

    def groups(self) -> list[tuple[Trait, list[forms.BoundField]]]:
        """Each trait with its boxes, left before right."""
        return [
            (
                trait,
                [
                    self[box(trait, side, member)]
                    for member, _words in members_of(trait)
                    for side in sides_of(trait)
                ],
            )
            for trait in self.traits
        ]

    @staticmethod
    def shown(answers: dict[str, Any]) -> dict[str, Any]:
        """What the boxes show for the answers so far."""
        return {
            f"{reading['trait']}-{reading['side']}-{member}": value
            for reading in answers.get("readings", [])
            for member, value in reading.items()
            if member not in {"trait", "side"}
        }

    def put_into(self, answers: dict[str, Any]) -> dict[str, Any]:
        """The answers with this section's in place; empty boxes are no reading."""
        return {**answers, "readings": list(self._readings())}

    def _readings(self) -> Iterator[dict[str, str]]:
        for trait in self.traits:
            for side in sides_of(trait):
                values = {
                    member: self.cleaned_data[box(trait, side, member)]
                    for member, _words in members_of(trait)
                }
                given = {member: value for member, value in values.items() if value}
                if given:
                    yield {"trait": trait.slug, "side": side, **given}


def sides_of(trait: Trait) -> tuple[str, ...]:
    """Left is always left on the page."""
    return (Side.LEFT.value, Side.RIGHT.value) if trait.is_per_side else (Side.WHOLE.value,)


def members_of(trait: Trait) -> list[tuple[str, str]]:
    """Which boxes a side of the trait has, with their words."""
    members = [("value", _("grade") if trait.is_graded else _("value"))]
    if trait.from_radius:
        members += [
            ("head_radius_mm", _("or head radius in mm")),
            ("displacement_mm", _("and displacement in mm")),
        ]
    return members


def box(trait: Trait, side: str, member: str) -> str:
    """The name of a box."""
    return f"{trait.slug}-{side}-{member}"


def _side_words(side: str, words: str, trait: Trait) -> str:
    scale = f" ({', '.join(map(str, trait.grades))})" if trait.is_graded else ""
    if side == Side.WHOLE:
        return f"{words}{scale}".capitalize()
    side_word = _("Left") if side == Side.LEFT else _("Right")
    return f"{side_word}: {words}{scale}"
