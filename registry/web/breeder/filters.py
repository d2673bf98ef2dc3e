"""The filter panel of the candidate mates: what the address asks for, as wishes and as tags.

What an address does not name is the usual wish; what it names and leaves empty is no limit. So the
limits that are on from the start can be seen in the panel and taken off like any other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.queries.mates import MateWishes
from registry.queries.public import PublicDog, PublicTrait
from registry.web.forms import PlainDecimalField, PlainForm, set_choices

_OLDEST_YEARS = 30
_TICKED = {"value": "yes"}
# What an address may say of the list; "page" is not among them.
NAMES = ("trait", "inbreeding", "tested", "middle", "youngest", "oldest", "name")


class MateFilters(PlainForm):
    """What is asked of a mate; inbreeding in hundredths, ages in years."""

    trait = forms.ChoiceField(label=gettext_lazy("Ranked by"))
    inbreeding = PlainDecimalField(
        label=gettext_lazy("Inbreeding of the puppies at most, of 100"),
        help_text=gettext_lazy("Two cousins give 6.25. Leave it empty for no limit."),
        required=False,
    )
    tested = forms.BooleanField(
        label=gettext_lazy("Only mates with a result to show"),
        required=False,
        widget=forms.CheckboxInput(attrs=_TICKED),
    )
    middle = forms.BooleanField(
        label=gettext_lazy("Only mates with a result no worse than the breed's middle dog"),
        required=False,
        widget=forms.CheckboxInput(attrs=_TICKED),
    )
    youngest = PlainDecimalField(label=gettext_lazy("At least this old, in years"), required=False)
    oldest = PlainDecimalField(label=gettext_lazy("At most this old, in years"), required=False)
    name = forms.CharField(label=gettext_lazy("Part of the name"), required=False, max_length=120)

    def __init__(
        self, asked: Mapping[str, str], *, dog: PublicDog, traits: Sequence[PublicTrait]
    ) -> None:
        usual = usual_answers(dog, traits)
        given = {name: asked[name].replace("\x00", "") for name in NAMES if name in asked}
        super().__init__({**usual, **given}, auto_id="filter-%s")
        set_choices(self, "trait", [(trait.slug, trait.name) for trait in traits])
        self.fields["trait"].error_messages["invalid_choice"] = _(
            "Choose one of the traits in the list."
        )

    def clean_inbreeding(self) -> Decimal | None:
        """From 0 to 100."""
        given: Decimal | None = self.cleaned_data["inbreeding"]
        if given is not None and not 0 <= given <= 100:
            raise ValidationError(_("Enter a number from 0 to 100, for example 6.25."))
        return given

    def clean_youngest(self) -> Decimal | None:
        """From 0 to thirty years."""
        return _years(self.cleaned_data["youngest"])

    def clean_oldest(self) -> Decimal | None:
        """From 0 to thirty years."""
        return _years(self.cleaned_data["oldest"])

    def clean(self) -> dict[str, Any]:
        """The youngest age is not above the oldest."""
        data = super().clean() or {}
        youngest, oldest = data.get("youngest"), data.get("oldest")
        if youngest is not None and oldest is not None and youngest > oldest:
            self.add_error(
                "oldest",
                _("Enter %(youngest)s or more, or lower the age in the field before.")
                % {"youngest": _plain(youngest)},
            )
        return data

    def wishes(self) -> MateWishes:
        """The wishes of a form without errors."""
        data = self.cleaned_data
        inbreeding = data["inbreeding"]
        return MateWishes(
            most_kinship=None if inbreeding is None else float(inbreeding) / 100,
            only_tested=data["tested"],
            no_worse_than_middle=data["middle"],
            youngest_months=_months(data["youngest"]),
            oldest_months=_months(data["oldest"]),
            name=data["name"],
        )


@dataclass(frozen=True, slots=True)
class Chosen:
    """The filters of a list as its page needs them: each in words with the address without it, the
    address without any, and what every further link has to carry."""

    tags: tuple[tuple[str, str], ...]
    clear: str
    kept: tuple[tuple[str, str], ...]

    @property
    def query(self) -> str:
        """What is kept, as the start of an address's query."""
        return urlencode(self.kept) + "&"


def chosen(form: MateFilters) -> Chosen:
    """What a form without errors narrows its list by."""
    data = form.cleaned_data
    plain = {name: _plain(data[name]) for name in NAMES}
    words = {
        "inbreeding": _("inbreeding up to %(most)s of 100"),
        "tested": _("with a result to show"),
        "middle": _("no worse than the breed's middle dog"),
        "youngest": _("%(years)s years or older"),
        "oldest": _("%(years)s years or younger"),
        "name": _("name: “%(name)s”"),
    }
    tags = tuple(
        (
            words[name]
            % {"most": plain["inbreeding"], "years": plain[name], "name": plain["name"]},
            _address(plain | {name: ""}),
        )
        for name in words
        if plain[name]
    )
    none = _address(dict.fromkeys(NAMES, "") | {"trait": plain["trait"]})
    return Chosen(tags=tags, clear=none, kept=tuple(plain.items()))


def usual_answers(dog: PublicDog, traits: Sequence[PublicTrait]) -> dict[str, str]:
    """What the form holds before anything is asked: the usual wishes for this dog."""
    usual = MateWishes.usual_for(dog)
    return {
        "trait": traits[0].slug,
        "inbreeding": _plain(Decimal(str(usual.most_kinship)) * 100),
        "youngest": _plain(Decimal(usual.youngest_months or 0) / 12),
        "oldest": _plain(Decimal(usual.oldest_months or 0) / 12),
    }


def _address(query: Mapping[str, str]) -> str:
    # The two limits that are on from the start must be named to be off.
    return "?" + urlencode(query)


def _plain(value: Any) -> str:
    """An answer as it stands in an address: ``6.25``, ``yes``, nothing for no answer."""
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    return f"{value.normalize():f}" if isinstance(value, Decimal) else str(value)


def _years(given: Decimal | None) -> Decimal | None:
    if given is not None and not 0 <= given <= _OLDEST_YEARS:
        raise ValidationError(
            _("Enter an age in years from 0 to %(most)d, for example 1.5.")
            % {"most": _OLDEST_YEARS}
        )
    return given


def _months(years: Decimal | None) -> int | None:
    return None if years is None else round(years * 12)
