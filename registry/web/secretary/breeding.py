"""The breeding runs of every breed: the latest, what failed, and a button for a new one."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from registry.desk import breeding as desk
from registry.desk.actor import Actor
from registry.desk.errors import NotFound
from registry.models import Breed
from registry.queries.breeding import latest_run, runs_of
from registry.telling.runs import breed_runs
from registry.web.secretary.frame import framed, secretary_page

_RUNS_SHOWN = 20


@require_GET
@secretary_page
def breeding(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Every breed with its latest run."""
    breeds = [
        breed_runs(breed, latest_run(breed.pk), runs_of(breed.pk, most=_RUNS_SHOWN))
        for breed in Breed.objects.all()
    ]
    return render(request, "secretary/breeding.html", framed("breeding", breeds=breeds))


@require_POST
@secretary_page
def compute(request: HttpRequest, by: Actor, slug: str) -> HttpResponseBase:
    """Ask for a run; where one is open already, nothing more is asked for."""
    try:
        run = desk.ask_for_run(by=by, breed_slug=slug)
    except NotFound as error:
        raise Http404 from error
    words = _("Run %(number)d of %(breed)s will be computed. Look again in a few minutes.")
    messages.success(request, words % {"number": run.number, "breed": run.breed.name})
    return redirect("secretary:breeding")
