"""The clinic's first page: what came back, what is half done, what was sent."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_GET

from registry.desk.actor import Actor
from registry.models import Draft, Evaluation, State
from registry.web.clinic.frame import clinic_page, framed


@require_GET
@clinic_page
def home(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Returned results first, then drafts, then everything sent."""
    own = Evaluation.objects.filter(clinic_id=by.clinic_pk).select_related("dog__breed")
    drafts = Draft.objects.filter(clinic_id=by.clinic_pk, sent_as__isnull=True)
    sent = own.exclude(state=State.RETURNED).order_by("-submitted_at", "-pk")
    context = framed(
        "home",
        returned=own.filter(state=State.RETURNED).order_by("decided_at"),
        drafts=drafts.select_related("dog"),
        page=Paginator(sent, 30).get_page(request.GET.get("page")),
    )
    return render(request, "clinic/home.html", context)
