"""The overview: numbers, and what needs a hand."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_GET

from registry.desk.actor import Actor
from registry.doctor.examination import examine_quickly, needing
from registry.doctor.findings import Level
from registry.queries.office import office_today
from registry.web.secretary.frame import framed, secretary_page


@require_GET
@secretary_page
def home(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Numbers, and sentences about what needs a hand."""
    ill = needing(examine_quickly(), Level.HAND)
    context = framed("home", office=office_today(), needs=[finding.found for finding in ill])
    return render(request, "secretary/home.html", context)
