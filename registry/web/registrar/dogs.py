"""A dog as the registrar sees it: confirm one that a clinic added, put its facts right."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import dogs as desk
from registry.desk.actor import Actor
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.desk.known_dogs import dog_by_id
from registry.models import Breed, Dog, DogAlias, Sex
from registry.queries.review import litter_mates
from registry.queries.timeline import timeline_of_dog
from registry.web.deeds import done_from
from registry.web.forms import PlainDateField, PlainForm, set_choices
from registry.web.registrar.frame import framed, registrar_page
from registry.web.registrar.review import Fact
from registry.web.timeline import shown_entries
from registry.wording import dates


class DogForm(PlainForm):
    """Every fact of a dog; parents by the address of their page or their chip."""

    name = forms.CharField(label=gettext_lazy("Registered name"), max_length=120)
    call_name = forms.CharField(label=gettext_lazy("Call name"), max_length=40, required=False)
    breed = forms.ChoiceField(label=gettext_lazy("Breed"))
    sex = forms.ChoiceField(
        label=gettext_lazy("Sex"), choices=Sex.choices, widget=forms.RadioSelect
    )
    born_on = PlainDateField(label=gettext_lazy("Born on"))
    died_on = PlainDateField(label=gettext_lazy("Died on"), required=False)
    colour = forms.CharField(label=gettext_lazy("Colour"), max_length=60, required=False)
    chip = forms.CharField(label=gettext_lazy("Chip number"), max_length=40, required=False)
    studbook_number = forms.CharField(
        label=gettext_lazy("Studbook number"), max_length=40, required=False
    )
    sire = forms.CharField(
        label=gettext_lazy("Sire's chip number or id"), max_length=40, required=False
    )
    dam = forms.CharField(
        label=gettext_lazy("Dam's chip number or id"), max_length=40, required=False
    )
    reason = forms.CharField(
        label=gettext_lazy("Why the facts are changed"),
        help_text=gettext_lazy("It is shown on the dog's page. Name no person."),
        widget=forms.Textarea(attrs={"rows": 2}),
        max_length=1000,
        error_messages={"required": gettext_lazy("Say why the facts are changed.")},
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        set_choices(self, "breed", Breed.objects.values_list("slug", "name"))

    def facts(self) -> desk.DogFacts:
        """The facts; raises Invalid for a parent's chip that no dog has."""
        given = self.cleaned_data
        return desk.DogFacts(
            breed=given["breed"],
            name=given["name"],
            sex=given["sex"],
            born_on=given["born_on"],
            call_name=given["call_name"],
            colour=given["colour"],
            chip=given["chip"],
            studbook_number=given["studbook_number"],
            sire=desk.dog_named(given["sire"], "/sire"),
            dam=desk.dog_named(given["dam"], "/dam"),
            died_on=given["died_on"],
        )


@require_GET
@registrar_page
def dog(request: HttpRequest, by: Actor, dog_id: str) -> HttpResponseBase:
    """The dog's facts, its results, its litter and its whole history."""
    found = _dog(dog_id)
    if found.public_id != dog_id:
        return redirect("registrar:dog", found.public_id)
    results = (
        found.evaluations.select_related("clinic")
        .prefetch_related("readings__trait")
        .order_by("-examined_on", "-pk")
    )
    context = framed(
        "",
        dog=found,
        facts=facts_of(found),
        results=results,
        mates=litter_mates(found),
        entries=shown_entries(timeline_of_dog(dog_id)),
    )
    return render(request, "registrar/dog.html", context)


@require_http_methods(["GET", "POST"])
@registrar_page
@done_from("registrar:dog", "dog_id")
def confirm(request: HttpRequest, by: Actor, dog_id: str) -> HttpResponseBase:
    """Confirm the dog and go back to where the registrar came from."""
    try:
        desk.confirm_dog(by=by, dog_id=dog_id)
    except NotFound as error:
        raise Http404 from error
    messages.success(request, _("The dog is confirmed."))
    result = request.POST.get("result", "")
    if result.isalnum():
        return redirect("registrar:result", result)
    return redirect("registrar:dog", dog_id)


@require_http_methods(["GET", "POST"])
@registrar_page
def correct(request: HttpRequest, by: Actor, dog_id: str) -> HttpResponseBase:
    """Put the dog's facts right; a change made meanwhile is shown beside what was typed."""
    found = _dog(dog_id)
    form = DogForm(request.POST) if request.method == "POST" else DogForm(initial=_initial(found))
    refusal, status = "", 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                desk.correct_dog(
                    by=by,
                    dog_id=dog_id,
                    version=form.cleaned_data["version"],
                    facts=form.facts(),
                    reason=form.cleaned_data["reason"],
                )
            except Conflict as error:
                refusal, status = str(error), 409
                # What was typed stays; sending it again is a decision made with the new facts seen.
                form = DogForm({**request.POST.dict(), "version": str(_dog(dog_id).version)})
            except Refused as error:
                status = 409
                form.add_error(None, str(error))
            except Invalid as error:
                for problem in error.problems:
                    name = problem.pointer.strip("/")
                    form.add_error(name if name in form.fields else None, problem.message)
            else:
                messages.success(request, _("The facts are changed."))
                return redirect("registrar:dog", dog_id)
    context = framed(
        "", dog=found, form=form, refusal=refusal, now=facts_of(_dog(dog_id)) if refusal else []
    )
    return render(request, "registrar/correct_dog.html", context, status=status)


def _dog(dog_id: str) -> Dog:
    found = dog_by_id(dog_id)
    if found is None:
        raise Http404
    return found


def facts_of(dog: Dog) -> list[Fact]:
    """Every fact of a dog in words; parents lead to their pages."""

    def parent(relative: Dog | None) -> tuple[str, str]:
        if relative is None:
            return "", ""
        return relative.name, reverse("registrar:dog", args=[relative.public_id])

    return [
        Fact(_("Call name"), dog.call_name),
        Fact(_("Breed"), dog.breed.name),
        Fact(_("Sex"), dog.get_sex_display()),
        Fact(_("Born"), dates.day(dog.born_on)),
        Fact(_("Died"), dates.day(dog.died_on) if dog.died_on else ""),
        Fact(_("Colour"), dog.colour),
        Fact(_("Chip"), ", ".join(filter(None, [dog.chip, *second_chips(dog)]))),
        Fact(_("Studbook number"), dog.studbook_number),
        Fact(_("Sire"), *parent(dog.sire)),
        Fact(_("Dam"), *parent(dog.dam)),
    ]


def second_chips(dog: Dog) -> list[str]:
    """Chips that came to the dog with entries merged into it."""
    found = DogAlias.objects.filter(dog=dog, chip__isnull=False).order_by("pk")
    return [str(chip) for chip in found.values_list("chip", flat=True)]


def _initial(dog: Dog) -> dict[str, Any]:
    return {
        "name": dog.name,
        "call_name": dog.call_name,
        "breed": dog.breed.slug,
        "sex": dog.sex,
        "born_on": dog.born_on,
        "died_on": dog.died_on,
        "colour": dog.colour,
        "chip": dog.chip or "",
        "studbook_number": dog.studbook_number,
        "sire": dog.sire.chip or dog.sire.public_id if dog.sire else "",
        "dam": dog.dam.chip or dog.dam.public_id if dog.dam else "",
        "version": dog.version,
    }
