"""Breeds and traits: add a breed, change its window, add a trait or change its words and rules."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import catalogue as desk
from registry.desk import shipped
from registry.desk.actor import Actor
from registry.desk.errors import Invalid
from registry.models import Better, Breed, Kind, Trait
from registry.web.forms import PlainDateField, PlainDecimalField, PlainForm, posted
from registry.web.secretary.frame import form_page, framed, secretary_page

_MONTHS_HINT = gettext_lazy("How many months of examinations the breed is compared over")


class BreedForm(PlainForm):
    """A new breed."""

    name = forms.CharField(label=gettext_lazy("Name"), max_length=80)
    window_months = forms.IntegerField(
        label=gettext_lazy("Rolling window"),
        help_text=_MONTHS_HINT,
        initial=120,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )


class WindowForm(PlainForm):
    """A breed's window, and why it changes."""

    window_months = forms.IntegerField(
        label=gettext_lazy("Rolling window"),
        help_text=_MONTHS_HINT,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    reason = forms.CharField(label=gettext_lazy("Why it changes"), max_length=400)


class AnnouncementForm(PlainForm):
    """From when on examinations of a breed have to be announced."""

    first_day = PlainDateField(
        label=gettext_lazy("Required for examinations from"),
        help_text=gettext_lazy("For example 1 March 2027. Leave it empty to require none."),
        required=False,
    )
    reason = forms.CharField(label=gettext_lazy("Why this changes"), max_length=400)


class TraitForm(PlainForm):
    """The words and rules of a trait; its scale is fixed once there are results."""

    name = forms.CharField(label=gettext_lazy("Name"), max_length=80)
    joint = forms.CharField(label=gettext_lazy("Joint"), max_length=20)
    better_word = forms.CharField(label=gettext_lazy("Word for the better end"), max_length=30)
    worse_word = forms.CharField(label=gettext_lazy("Word for the other end"), max_length=30)
    lowest = PlainDecimalField(label=gettext_lazy("Lowest plausible value"))
    highest = PlainDecimalField(label=gettext_lazy("Highest plausible value"))
    minimum_age_days = forms.IntegerField(
        label=gettext_lazy("Youngest age in days"),
        min_value=0,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    side_difference = PlainDecimalField(
        label=gettext_lazy("Unusual difference of the sides"), required=False
    )
    heritability_prior = PlainDecimalField(
        label=gettext_lazy("Published heritability"),
        help_text=gettext_lazy(
            "Between 0 and 1; for breeds with too few results to tell their own"
        ),
        required=False,
    )
    litter_share_prior = PlainDecimalField(
        label=gettext_lazy("Published share of the litter"),
        help_text=gettext_lazy("The part of the differences that littermates have in common"),
        required=False,
    )
    within_dog_sd = PlainDecimalField(
        label=gettext_lazy("Published standard deviation within a dog"),
        help_text=gettext_lazy(
            "How far exams of one dog differ, by the worse side and in the unit of the trait. Used "
            "until this register has 30 repeat exams to show. Not for grades"
        ),
        required=False,
    )
    within_dog_source = forms.CharField(
        label=gettext_lazy("Where it was published"),
        help_text=gettext_lazy("Shown on certificates: authors, year, journal"),
        max_length=200,
        required=False,
    )
    position = forms.IntegerField(
        label=gettext_lazy("Place on pages"),
        min_value=0,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )


class NewTraitForm(TraitForm):
    """A new trait with its scale."""

    kind = forms.ChoiceField(
        label=gettext_lazy("Kind"), choices=Kind.choices, widget=forms.RadioSelect
    )
    unit = forms.CharField(label=gettext_lazy("Unit"), max_length=12, required=False)
    resolution = PlainDecimalField(
        label=gettext_lazy("Resolution"),
        help_text=gettext_lazy("The smallest step that is written down; 1 for grades"),
    )
    grades = forms.CharField(
        label=gettext_lazy("Grades, best first"),
        help_text=gettext_lazy("Parted by commas; for graded traits only"),
        required=False,
    )
    better = forms.ChoiceField(
        label=gettext_lazy("Better end"), choices=Better.choices, widget=forms.RadioSelect
    )
    is_per_side = forms.BooleanField(label=gettext_lazy("Read on each side"), required=False)


@require_GET
@secretary_page
def breeds(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Every breed with its window."""
    return render(request, "secretary/breeds.html", framed("breeds", breeds=Breed.objects.all()))


@require_http_methods(["GET", "POST"])
@secretary_page
def new_breed(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Add a breed."""

    def deed(given: dict[str, Any]) -> str:
        return _("%(name)s is added.") % {"name": desk.add_breed(by=by, **given).name}

    return form_page(
        request,
        BreedForm(posted(request)),
        deed,
        section="breeds",
        title=_("Add a breed"),
        label=_("Add the breed"),
        back=reverse("secretary:breeds"),
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def window(request: HttpRequest, by: Actor, slug: str) -> HttpResponseBase:
    """Change a breed's window."""
    breed = Breed.objects.filter(slug=slug).first()
    if breed is None:
        raise Http404

    def deed(given: dict[str, Any]) -> str:
        desk.change_window(by=by, breed_slug=slug, **given)
        return _("The window is changed. Past dates keep the window of their time.")

    initial = {"window_months": breed.window_months}
    form = WindowForm(request.POST) if request.method == "POST" else WindowForm(initial=initial)
    return form_page(
        request,
        form,
        deed,
        section="breeds",
        title=_("The window of %(name)s") % {"name": breed.name},
        label=_("Change the window"),
        back=reverse("secretary:breeds"),
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def announcement(request: HttpRequest, by: Actor, slug: str) -> HttpResponseBase:
    """Require that examinations of a breed are announced, from a day on."""
    breed = Breed.objects.filter(slug=slug).first()
    if breed is None:
        raise Http404

    def deed(given: dict[str, Any]) -> str:
        desk.require_announcement(by=by, breed_slug=slug, **given)
        return _("Done. The breed's page tells everybody from when on it holds.")

    initial = {"first_day": breed.requires_announcement_from}
    return form_page(
        request,
        AnnouncementForm(posted(request), initial=initial),
        deed,
        section="breeds",
        title=_("Announced examinations of %(name)s") % {"name": breed.name},
        label=_("Save this rule"),
        back=reverse("secretary:breeds"),
        intro=_(
            "A result of an examination from that day on is taken only when the clinic announced"
            " it before or on its day."
        ),
    )


@require_GET
@secretary_page
def traits(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Every trait, and the scales on offer."""
    context = framed("traits", traits=Trait.objects.all(), offered=shipped.offered_scales())
    return render(request, "secretary/traits.html", context)


@require_http_methods(["GET", "POST"])
@secretary_page
def take_up(request: HttpRequest, by: Actor, slug: str) -> HttpResponseBase:
    """Put an offered scale into use."""
    scale = next((each for each in shipped.offered_scales() if each.slug == slug), None)
    if scale is None:
        raise Http404

    def deed(given: dict[str, Any]) -> str:
        return _("%(name)s is in use.") % {"name": shipped.take_up_scale(by=by, slug=slug).name}

    return form_page(
        request,
        PlainForm(posted(request)),
        deed,
        section="traits",
        title=_("Use this scale: %(name)s") % {"name": scale.name},
        label=_("Use this scale"),
        back=reverse("secretary:traits"),
        intro=_(
            "Its grades, best first: %(grades)s. Once there are results, the grades stay as they"
            " are."
        )
        % {"grades": ", ".join(scale.grades)},
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def new_trait(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Add a trait; no code is needed for it."""

    def deed(given: dict[str, Any]) -> str:
        slug = slugify(given["name"])[:40]
        if not slug or Trait.objects.filter(slug=slug).exists():
            raise Invalid.one("/name", _("There is a trait of this name already."))
        listed = [grade.strip() for grade in given["grades"].split(",") if grade.strip()]
        saved = desk.save_trait(by=by, slug=slug, facts={**given, "grades": listed})
        return _("%(name)s is added.") % {"name": saved.name}

    return form_page(
        request,
        NewTraitForm(posted(request), initial={"position": 50, "minimum_age_days": 365}),
        deed,
        section="traits",
        title=_("Add a trait"),
        label=_("Add the trait"),
        back=reverse("secretary:traits"),
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def trait(request: HttpRequest, by: Actor, slug: str) -> HttpResponseBase:
    """Change a trait's words and rules."""
    found = Trait.objects.filter(slug=slug).first()
    if found is None:
        raise Http404

    def deed(given: dict[str, Any]) -> str:
        desk.save_trait(by=by, slug=slug, facts=given)
        return _("The trait is changed.")

    initial = {name: _shown(found, name) for name in TraitForm.base_fields}
    form = TraitForm(request.POST) if request.method == "POST" else TraitForm(initial=initial)
    return form_page(
        request,
        form,
        deed,
        section="traits",
        title=found.name,
        label=_("Save the changes"),
        back=reverse("secretary:traits"),
        intro=_("The scale stays as it is, because every result is written down in its steps."),
    )


def _shown(trait: Trait, name: str) -> Any:
    value = getattr(trait, name)
    if not isinstance(value, Decimal):
        return value
    # Shares of the variance are not on the trait's scale.
    return format(value.normalize(), "f") if name.endswith("_prior") else str(trait.tidy(value))
