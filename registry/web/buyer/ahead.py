"""The look ahead: a plain form in the address, and what the asked plan would bring and cost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from csp.decorators import csp_update
from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.charts.figures import STYLE_HASHES
from registry.queries.course import NoCourse, course_of, scale_ends
from registry.queries.pairs import NoAnswer, Why
from registry.telling.ahead import (
    FEWEST_DOGS,
    MOST_DOGS,
    MOST_GENERATIONS,
    Habits,
    Question,
    ahead_told,
    habits_of,
    today_words,
)
from registry.telling.breeding import Reason, run_words, why_words
from registry.telling.course import why_no_course
from registry.web.buyer.breeds import breed_and_trait
from registry.web.buyer.budget import counted
from registry.web.buyer.open_page import open_page
from registry.web.forms import PlainForm, set_choices
from registry.wording.course import line_unknown_words
from registry.wording.grades import no_look_ahead_words, not_inherited_words

_NAMES = ("chosen", "dams", "sires", "dogs", "generations")
_MOST_PARENTS = MOST_DOGS // 2
_MOST_DIGITS = 9


class WholeField(forms.CharField):
    """A whole number between two others, in a text box with a numeric keypad."""

    def __init__(self, *, low: int, high: int, **kwargs: Any) -> None:
        attrs = {"inputmode": "numeric", "autocomplete": "off"}
        super().__init__(widget=forms.TextInput(attrs=attrs), **kwargs)
        self.low, self.high = low, high

    def clean(self, value: object) -> int:
        """The number; ValidationErrors say which numbers can be."""
        text = super().clean(value).replace(" ", "").replace(",", "")
        number = int(text) if text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS else 0
        if not self.low <= number <= self.high:
            raise forms.ValidationError(
                _("Enter a whole number from %(low)s to %(high)s.")
                % {"low": f"{self.low:,}", "high": f"{self.high:,}"}
            )
        return number


class AheadForm(PlainForm):
    """A plan; what the address leaves out is the breed's own number."""

    chosen = forms.ChoiceField(
        label=gettext_lazy("How parents are chosen"), widget=forms.RadioSelect
    )
    dams = WholeField(
        label=gettext_lazy("Bitches that have puppies"),
        help_text=gettext_lazy("In each generation"),
        low=1,
        high=_MOST_PARENTS,
    )
    sires = WholeField(
        label=gettext_lazy("Males that have puppies"),
        help_text=gettext_lazy("In each generation"),
        low=1,
        high=_MOST_PARENTS,
    )
    dogs = WholeField(
        label=gettext_lazy("Dogs to choose among"),
        help_text=gettext_lazy("Both sexes together, in each generation"),
        low=FEWEST_DOGS,
        high=MOST_DOGS,
    )
    generations = WholeField(
        label=gettext_lazy("Generations"),
        help_text=gettext_lazy("Up to 12. One takes about four years."),
        low=1,
        high=MOST_GENERATIONS,
    )

    def __init__(self, asked: Mapping[str, str], habits: Habits) -> None:
        given = {name: asked[name] for name in _NAMES if name in asked}
        super().__init__({**{name: str(getattr(habits.usual, name)) for name in _NAMES}, **given})
        ways = [("chance", _("By chance")), ("best", _("Only the best results"))]
        if habits.accuracy is not None:
            ways.insert(0, ("today", _("As today")))
        set_choices(self, "chosen", ways)

    def clean(self) -> dict[str, Any]:
        """No more parents of a sex than there are dogs of it: half of all."""
        given = self.cleaned_data
        for name in ("dams", "sires"):
            if name in given and "dogs" in given:
                most = given["dogs"] // 2 + (given["dogs"] % 2 if name == "dams" else 0)
                if given[name] > most:
                    self.add_error(
                        name,
                        _("Half of the %(dogs)s dogs are of this sex: enter %(most)s or fewer.")
                        % {"dogs": f"{given['dogs']:,}", "most": f"{most:,}"},
                    )
        return given

    def question(self) -> Question:
        """What a form without errors asks."""
        return Question(**self.cleaned_data)


@csp_update({"style-src": list(STYLE_HASHES)})
@open_page
@counted
def ahead(request: HttpRequest, slug: str, trait_slug: str) -> HttpResponseBase:
    """What the choice of parents would bring, and what it would cost."""
    breed, trait = breed_and_trait(slug, trait_slug)
    found = course_of(breed.pk, trait.slug)
    up = f"/breeds/{breed.slug}/{trait.slug}/"
    context: dict[str, Any] = {
        "breed": breed, "trait": trait, "form": None, "told": None, "today": "", "reason": None,
        "run": run_words(found.run) if found.run else None,
        "here": request.path, "up": f"{up}course/", "current": "breeds",
    }  # fmt: skip
    if isinstance(found, NoCourse):
        context["reason"] = why_no_course(found)
    elif found.facts.grades is not None:
        context["reason"] = Reason(_("There is no look ahead for grades"), no_look_ahead_words())
    elif not found.facts.is_ranked:
        facts = found.facts
        context["reason"] = Reason(
            _("There is no look ahead"), not_inherited_words(facts.trait.name, facts.records)
        )
    elif found.unknown is not None and not found.unknown.tells_line:
        context["reason"] = Reason(_("There is no look ahead"), line_unknown_words(found.unknown))
    elif (last := found.last_year) is None:
        context["reason"] = why_words(NoAnswer(Why.NO_VALUES))
    else:
        habits = habits_of(found, last)
        form = AheadForm(request.GET.dict(), habits)
        context["form"] = form
        context["today"] = today_words(last, habits.parents)
        if form.is_valid():
            ends = scale_ends(trait.pk)
            context["told"] = ahead_told(found, last, habits, form.question(), ends=ends)
    return render(request, "buyer/ahead.html", context)
