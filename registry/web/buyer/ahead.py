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
from registry.queries.course import NoCourse, course_of, parents_today, scale_ends, tested_today
from registry.queries.pairs import NoAnswer, Why
from registry.telling.ahead import (
    FEWEST_TESTED,
    MOST_GENERATIONS,
    MOST_TESTED,
    Question,
    ahead_told,
    today_words,
    usual_question,
)
from registry.telling.breeding import Reason, run_words, why_words
from registry.telling.course import why_no_course
from registry.web.buyer.breeds import breed_and_trait
from registry.web.buyer.budget import counted
from registry.web.buyer.open_page import open_page
from registry.web.forms import PlainForm
from registry.wording.grades import no_look_ahead_words, not_inherited_words

_NAMES = ("dams", "sires", "tested", "generations")
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

    dams = WholeField(
        label=gettext_lazy("Bitches kept, of 100 tested"),
        help_text=gettext_lazy("The best of them have puppies"),
        low=1,
        high=100,
    )
    sires = WholeField(
        label=gettext_lazy("Male dogs kept, of 100 tested"),
        help_text=gettext_lazy("The best of them become fathers"),
        low=1,
        high=100,
    )
    tested = WholeField(
        label=gettext_lazy("Dogs tested in each generation"),
        help_text=gettext_lazy("Both sexes together"),
        low=FEWEST_TESTED,
        high=MOST_TESTED,
    )
    generations = WholeField(
        label=gettext_lazy("Generations"),
        help_text=gettext_lazy("Up to 12. One takes about four years."),
        low=1,
        high=MOST_GENERATIONS,
    )

    def __init__(self, asked: Mapping[str, str], usual: Question) -> None:
        given = {name: asked[name] for name in _NAMES if name in asked}
        super().__init__({**{name: str(getattr(usual, name)) for name in _NAMES}, **given})

    def question(self) -> Question:
        """What a form without errors asks."""
        return Question(**self.cleaned_data)


@csp_update({"style-src": list(STYLE_HASHES)})
@open_page
@counted
def ahead(request: HttpRequest, slug: str, trait_slug: str) -> HttpResponseBase:
    """What keeping the best of the tested dogs would bring, and what it would cost."""
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
    elif (last := found.last_year) is None:
        context["reason"] = why_words(NoAnswer(Why.NO_VALUES))
    else:
        parents = parents_today(breed.pk, last.year)
        form = AheadForm(request.GET.dict(), usual_question(found, last, parents))
        context["form"] = form
        context["today"] = today_words(last, parents, tested_today(found.trend, last.year))
        if form.is_valid():
            ends = scale_ends(trait.pk)
            context["told"] = ahead_told(found, last, form.question(), ends=ends)
    return render(request, "buyer/ahead.html", context)
