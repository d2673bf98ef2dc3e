"""Clinics: add one, change its entry, let it submit or not."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import people as desk
from registry.desk.actor import Actor
from registry.models import Clinic
from registry.web.forms import PlainForm, posted
from registry.web.secretary.frame import form_page, framed, secretary_page


class NewClinicForm(PlainForm):
    """A clinic's entry."""

    name = forms.CharField(label=gettext_lazy("Name"), max_length=120)
    town = forms.CharField(label=gettext_lazy("Town"), max_length=80, required=False)
    email = forms.CharField(
        label=gettext_lazy("Mail address for decisions"), max_length=254, required=False
    )


class ClinicForm(NewClinicForm):
    """The same, and whether it may submit."""

    is_active = forms.BooleanField(label=gettext_lazy("May submit results"), required=False)


@require_GET
@secretary_page
def all_clinics(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Every clinic."""
    return render(
        request, "secretary/clinics.html", framed("clinics", clinics=Clinic.objects.all())
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def new(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Add a clinic."""

    def deed(given: dict[str, Any]) -> str:
        return _("%(name)s is added.") % {"name": desk.add_clinic(by=by, **given).name}

    return form_page(
        request,
        NewClinicForm(posted(request)),
        deed,
        section="clinics",
        title=_("Add a clinic"),
        label=_("Add the clinic"),
        back=reverse("secretary:clinics"),
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def change(request: HttpRequest, by: Actor, clinic_id: str) -> HttpResponseBase:
    """Change a clinic's entry."""
    clinic = Clinic.objects.filter(public_id=clinic_id).first()
    if clinic is None:
        raise Http404

    def deed(given: dict[str, Any]) -> str:
        changed = desk.change_clinic(by=by, clinic_id=clinic_id, **given)
        return _("The entry of %(name)s is changed.") % {"name": changed.name}

    initial = {
        "name": clinic.name,
        "town": clinic.town,
        "email": clinic.email,
        "is_active": clinic.is_active,
    }
    form = ClinicForm(request.POST) if request.method == "POST" else ClinicForm(initial=initial)
    return form_page(
        request,
        form,
        deed,
        section="clinics",
        title=clinic.name,
        label=_("Save the changes"),
        back=reverse("secretary:clinics"),
        intro=_("A clinic that may not submit keeps everything it sent."),
    )
