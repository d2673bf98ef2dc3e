"""The page for what went wrong on our side: to be repeated when the fault passes, else told as it
is.

Django calls it last of all, whichever layer failed, so nothing here asks the database.
"""

from __future__ import annotations

import sys

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.defaults import server_error

from registry.interruptions import RETRY_AFTER_SECONDS, passes


def fault(request: HttpRequest) -> HttpResponse:
    """Answer 503 with what was typed kept in the page, or 500."""
    if not passes(sys.exc_info()[1]):
        return server_error(request)
    context = {
        "fields": _typed(request),
        "has_files": bool(request.FILES),
        "is_post": request.method == "POST",
    }
    response = render(request, "503.html", context, status=503)
    response["Retry-After"] = str(RETRY_AFTER_SECONDS)
    response["Cache-Control"] = "no-store"
    return response


def _typed(request: HttpRequest) -> list[tuple[str, str]]:
    """What a form of one of the rooms carried. The pages of signing in belong to no room: what is
    typed there is secret, and stays out of any page."""
    if request.resolver_match is None or not request.resolver_match.namespace:
        return []
    return [
        (name, str(value))
        for name, values in request.POST.lists()
        for value in values
        if name != "csrfmiddlewaretoken"
    ]
