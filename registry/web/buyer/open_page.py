"""What every page of this room has in common: open to all, no cookie, never shown stale."""

from __future__ import annotations

import hashlib
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_safe

from registry.web.buyer.budget import TooOftenError, View, too_often


def open_page(view: View) -> View:
    """A page for everyone, by GET and HEAD: fresh at every look, and not sent again when unchanged.

    ``no-cache`` lets a browser keep the page but makes it ask each time, so that a revoked
    certificate is never shown from an old copy.
    """

    @wraps(view)
    def wrapped(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        try:
            response = view(request, *args, **kwargs)
        except TooOftenError as problem:
            response = too_often(request, problem)
        response.headers.setdefault("Cache-Control", "no-cache")
        if not isinstance(response, HttpResponse) or response.status_code != 200:
            return response
        etag = f'"{hashlib.blake2b(response.content, digest_size=12).hexdigest()}"'
        response.headers["ETag"] = etag
        return get_conditional_response(request, etag=etag, response=response) or response

    # A wrapper of ours, typed loosely by Django.
    return login_not_required(require_safe(wrapped))
