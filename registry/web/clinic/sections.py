"""The forms of a draft's sections, between boxes on a page and the REST body that a draft keeps.

What cannot be read is kept as it was typed, so that leaving a page half done loses nothing; the
desk finds it again when the draft is looked over.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import date
from typing import Any, ClassVar

from django import forms
from django.utils.translation import gettext_lazy

from registry.desk.answers import Restraint
from registry.web.forms import PlainDateField, PlainForm

YES_NO = (("yes", gettext_lazy("Yes")), ("no", gettext_lazy("No")))
_YES_NO_OF: dict[Any, str] = {True: "yes", False: "no"}
_LONGEST_KEPT = 2_000


class SectionForm(PlainForm):
    """A part of the answers.

    ``base`` is a digest of the section as it was shown, so that a change made in another window is
    noticed; ``seen`` one of the warnings shown with it, so that each is shown once.
    """

    base = forms.CharField(widget=forms.HiddenInput, required=False)
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    section: ClassVar[str]
    members: ClassVar[tuple[str, ...]]  # of the body
    pointers: ClassVar[Mapping[str, str]] = {}  # of the boxes

    def put_into(self, answers: Mapping[str, Any]) -> dict[str, Any]:
        """The answers with this section's in place; call after ``is_valid``."""
        raise NotImplementedError

    @classmethod
    def digest(cls, answers: Mapping[str, Any]) -> str:
        """Tells two states of the section apart."""
        own = {name: answers[name] for name in cls.members if name in answers}
        return hashlib.sha256(json.dumps(own, sort_keys=True).encode()).hexdigest()[:16]

    def box_at(self, pointer: str) -> str | None:
        """The box that a pointer into the body means; None when it means the section."""
        return next((name for name, own in self.pointers.items() if own == pointer), None)

    def typed(self, name: str) -> Any:
        """The box's value, or what was typed when it could not be read."""
        if name in self.cleaned_data:
            return self.cleaned_data[name]
        return str(self.data.get(name, "")).replace("\x00", "").strip()[:_LONGEST_KEPT]


class ExaminationForm(SectionForm):
    """When, by whom, and how the dog was kept still."""

    section = "examination"
    members = ("examined_on", "examiner", "conditions")
    pointers = {
        "examined_on": "/examined_on",
        "examiner": "/examiner",
        "restraint": "/conditions/restraint",
        "weight_kg": "/conditions/weight_kg",
        "chip_read": "/conditions/chip_read",
        "chip_as_read": "/conditions/chip_as_read",
    }

    examined_on = PlainDateField(
        label=gettext_lazy("Day of the examination"),
        error_messages={"required": gettext_lazy("Enter the day of the examination.")},
    )
    examiner = forms.CharField(
        label=gettext_lazy("Veterinarian who examined the dog"),
        max_length=120,
        error_messages={
            "required": gettext_lazy("Enter the name of the veterinarian who examined the dog.")
        },
    )
    restraint = forms.ChoiceField(
        label=gettext_lazy("How was the dog kept still?"),
        choices=(
            (Restraint.SEDATION.value, gettext_lazy("By sedation")),
            (Restraint.GENERAL_ANAESTHESIA.value, gettext_lazy("Under general anaesthesia")),
            (Restraint.NONE.value, gettext_lazy("Neither of them")),
        ),
        widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Choose how the dog was kept still.")},
    )
    weight_kg = forms.CharField(
        label=gettext_lazy("Weight in kilograms, if it was weighed"),
        help_text=gettext_lazy("For example 18.5"),
        max_length=12,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    chip_read = forms.ChoiceField(
        label=gettext_lazy("Was the chip read at the examination?"),
        choices=YES_NO,
        widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Choose whether the chip was read.")},
    )
    chip_as_read = forms.CharField(
        label=gettext_lazy("Number read, only if it is not the one above"),
        max_length=60,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    @staticmethod
    def shown(answers: Mapping[str, Any]) -> dict[str, Any]:
        """What the boxes show for the answers so far."""
        conditions = answers.get("conditions", {})
        return {
            "examined_on": _day_or_text(answers.get("examined_on", "")),
            "examiner": answers.get("examiner", ""),
            "restraint": conditions.get("restraint"),
            "weight_kg": conditions.get("weight_kg", ""),
            "chip_read": _YES_NO_OF.get(conditions.get("chip_read")),
            "chip_as_read": conditions.get("chip_as_read", ""),
        }

    def put_into(self, answers: Mapping[str, Any]) -> dict[str, Any]:
        """The answers with this section's in place."""
        on = self.typed("examined_on")
        conditions = {
            "restraint": self.typed("restraint"),
            "weight_kg": self.typed("weight_kg"),
            "chip_read": {"yes": True, "no": False}.get(self.typed("chip_read"), ""),
            "chip_as_read": self.typed("chip_as_read"),
        }
        given = {
            "examined_on": on.isoformat() if isinstance(on, date) else on,
            "examiner": self.typed("examiner"),
            "conditions": {name: value for name, value in conditions.items() if value != ""},
        }
        return with_given(answers, given)


class OwnerForm(SectionForm):
    """Whose dog it is, and whether the club may show the result."""

    section = "owner"
    members = ("owner", "consent_to_publish")
    pointers = {
        "full_name": "/owner/full_name",
        "email": "/owner/email",
        "consent": "/consent_to_publish",
    }

    full_name = forms.CharField(
        label=gettext_lazy("Owner's full name"), max_length=120, required=False
    )
    email = forms.CharField(
        label=gettext_lazy("Owner's mail address"),
        help_text=gettext_lazy("The owner gets a private link to the result there."),
        max_length=254,
        required=False,
        widget=forms.TextInput(
            attrs={"inputmode": "email", "autocomplete": "off", "spellcheck": "false"}
        ),
    )
    consent = forms.ChoiceField(
        label=gettext_lazy("Does the owner agree that everybody may see this result?"),
        help_text=gettext_lazy(
            "Yes: anyone who looks up the dog sees the result, with the dog's name. No: they read"
            " that the dog was examined and that the result is not released. Either way the value"
            " counts in the breed's numbers, without the dog's name. The owner can change this"
            " later by the private link. Name and mail address are never shown."
        ),
        choices=(
            ("yes", gettext_lazy("Yes, the owner agrees")),
            ("no", gettext_lazy("No, the owner does not agree")),
        ),
        widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Choose whether the owner agrees.")},
    )

    @staticmethod
    def shown(answers: Mapping[str, Any]) -> dict[str, Any]:
        """What the boxes show for the answers so far."""
        owner = answers.get("owner", {})
        return {
            "full_name": owner.get("full_name", ""),
            "email": owner.get("email", ""),
            "consent": _YES_NO_OF.get(answers.get("consent_to_publish")),
        }

    def put_into(self, answers: Mapping[str, Any]) -> dict[str, Any]:
        """The answers with this section's in place."""
        person = {"full_name": self.typed("full_name"), "email": self.typed("email")}
        consent = {"yes": True, "no": False}.get(self.typed("consent"), "")
        given = {"owner": person if any(person.values()) else {}, "consent_to_publish": consent}
        return with_given(answers, given)


def with_given(answers: Mapping[str, Any], given: Mapping[str, Any]) -> dict[str, Any]:
    """The answers with the given ones in place; what is empty is left out."""
    return {
        **{name: value for name, value in answers.items() if name not in given},
        **{name: value for name, value in given.items() if value not in ("", {}, [])},
    }


def _day_or_text(text: str) -> date | str:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return text
