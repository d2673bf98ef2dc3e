"""The public log's page, and its last checkpoint as the text that others keep."""

from __future__ import annotations

import base64

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render

from registry.queries.public_log import public_log
from registry.web.buyer.open_page import open_page
from registry.wording import dates


@open_page
def log(request: HttpRequest) -> HttpResponseBase:
    """What the log is for, what was signed last, and how to keep it."""
    found = public_log()
    checkpoint = found.checkpoint
    context = {
        "origin": found.origin,
        "verifier_key": found.verifier_key,
        "entries": checkpoint.size if checkpoint else 0,
        "root": base64.b64encode(checkpoint.root).decode() if checkpoint else "",
        "signed": dates.moment(checkpoint.made_at) if checkpoint else "",
        "current": "",
    }
    return render(request, "buyer/log.html", context)


@open_page
def checkpoint(request: HttpRequest) -> HttpResponseBase:
    """The last signed note, to the letter."""
    found = public_log().checkpoint
    if found is None:
        raise Http404
    return HttpResponse(found.note, content_type="text/plain; charset=utf-8")
