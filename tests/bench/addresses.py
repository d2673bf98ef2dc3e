"""The registry's addresses and ``/empty``: a view that says nothing, behind the same middleware."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.urls import include, path


@login_not_required
def empty(_request: HttpRequest) -> HttpResponse:
    """Answer with nothing: what the server and the middleware cost by themselves."""
    return HttpResponse()


urlpatterns = [path("empty", empty), path("", include("registry.urls"))]
