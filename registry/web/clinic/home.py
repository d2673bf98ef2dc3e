"""The clinic's first page: what came back, what is half done, what was sent."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_GET

from registry.desk.actor import Actor, clinic_of
from registry.queries import clinic_results
from registry.queries.announcements import open_of_clinic
from registry.web.clinic.frame import clinic_page, framed

_A_PAGE = 25
_MOST_OPEN = 100


@require_GET
@clinic_page
def home(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Returned results first, then drafts, what the club has, and what is settled."""
    clinic = clinic_of(by)
    waiting = clinic_results.waiting_of(clinic)
    settled = Paginator(clinic_results.settled_of(clinic), _A_PAGE)
    context = framed(
        "home",
        returned=clinic_results.returned_to(clinic)[:_MOST_OPEN],
        drafts=clinic_results.drafts_of(clinic)[:_MOST_OPEN],
        announced=open_of_clinic(clinic)[:_MOST_OPEN],
        waiting=waiting[:_MOST_OPEN],
        waiting_count=waiting.count(),
        page=settled.get_page(request.GET.get("page")),
    )
    return render(request, "clinic/home.html", context)
