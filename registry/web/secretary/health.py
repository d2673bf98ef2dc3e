"""What the doctor finds, in three groups; slow checks are shown as they last ended."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_GET

from registry.desk.actor import Actor
from registry.doctor.examination import examine_quickly, needing
from registry.doctor.findings import Level
from registry.web.secretary.frame import framed, secretary_page


@require_GET
@secretary_page
def health(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Every finding with what was looked at and how to put it right."""
    findings = examine_quickly()
    context = framed(
        "health",
        ill=needing(findings, Level.HAND),
        advice=needing(findings, Level.ADVICE),
        well=[
            {"term": finding.looked_at, "value": finding.found}
            for finding in needing(findings, Level.WELL)
        ],
    )
    return render(request, "secretary/health.html", context)
