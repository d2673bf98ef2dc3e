"""The form for a dog that the register does not have."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.desk.dogs import DogFacts, dog_with_chip
from registry.desk.errors import Invalid
from registry.models import Breed, Sex
from registry.science.microchip import ChipProblem, parse_chip
from registry.web.forms import PlainDateField, PlainForm, set_choices

_NUMERIC = {"inputmode": "numeric", "autocomplete": "off", "spellcheck": "false"}


class NewDogForm(PlainForm):
    """A dog the register does not have. Its chip is given twice: it has no check digit."""

    chip = forms.CharField(
        label=gettext_lazy("Chip number"),
        max_length=60,
        widget=forms.TextInput(attrs=_NUMERIC),
        error_messages={"required": gettext_lazy("Enter the 15 digits of the chip.")},
    )
    chip_again = forms.CharField(
        label=gettext_lazy("The chip number once more"),
        help_text=gettext_lazy("Scan it again, or read it off the reader again. Do not copy it."),
        max_length=60,
        widget=forms.TextInput(attrs=_NUMERIC),
        error_messages={"required": gettext_lazy("Enter the chip number once more.")},
    )
    name = forms.CharField(
        label=gettext_lazy("Registered name"),
        max_length=120,
        error_messages={"required": gettext_lazy("Enter the dog's registered name.")},
    )
    call_name = forms.CharField(
        label=gettext_lazy("What the dog is called, if you know"), max_length=40, required=False
    )
    breed = forms.ChoiceField(
        label=gettext_lazy("Breed"),
        error_messages={"required": gettext_lazy("Choose the breed.")},
    )
    sex = forms.ChoiceField(
        label=gettext_lazy("Sex"),
        choices=Sex.choices,
        widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Choose female or male.")},
    )
    born_on = PlainDateField(
        label=gettext_lazy("Born on"),
        error_messages={"required": gettext_lazy("Enter the dog's birth date.")},
    )
    colour = forms.CharField(
        label=gettext_lazy("Colour, if you know"), max_length=60, required=False
    )
    studbook_number = forms.CharField(
        label=gettext_lazy("Studbook number, if you know"), max_length=40, required=False
    )
    sire = forms.CharField(
        label=gettext_lazy("Sire's chip number, if you know"),
        max_length=60,
        required=False,
        widget=forms.TextInput(attrs=_NUMERIC),
    )
    dam = forms.CharField(
        label=gettext_lazy("Dam's chip number, if you know"),
        max_length=60,
        required=False,
        widget=forms.TextInput(attrs=_NUMERIC),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        set_choices(self, "breed", [("", "–"), *Breed.objects.values_list("slug", "name")])

    def clean_chip(self) -> str:
        """The fifteen digits, however they were typed."""
        return _digits(self.cleaned_data["chip"])

    def clean_chip_again(self) -> str:
        """The same number once more."""
        again = _digits(self.cleaned_data["chip_again"])
        if self.cleaned_data.get("chip", again) != again:
            raise ValidationError(_("The two chip numbers differ. Read the chip again."))
        return again

    def clean_sire(self) -> str:
        """The sire's public id."""
        return _parent(self.cleaned_data["sire"])

    def clean_dam(self) -> str:
        """The dam's public id."""
        return _parent(self.cleaned_data["dam"])

    def compare(self) -> str:
        """Look at the two chip numbers alone; returns what to say when they are the same."""
        self.full_clean()
        for name in set(self.errors) - {"chip", "chip_again"}:
            del self.errors[name]
        return "" if self.errors else _("The two chip numbers are the same.")

    def facts(self) -> DogFacts:
        """What the desk registers; after ``is_valid``."""
        given = dict(self.cleaned_data)
        del given["chip_again"]
        return DogFacts(**given)


def _digits(text: str) -> str:
    try:
        return parse_chip(text).text15
    except ChipProblem as problem:
        raise ValidationError(str(problem)) from problem


def _parent(text: str) -> str:
    try:
        return dog_with_chip(text, "")
    except Invalid as error:
        raise ValidationError(error.problems[0].message) from error
