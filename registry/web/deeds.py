"""Addresses that do something and show nothing of their own.

Such an address stays in the browser when the deed was refused, and a sign-in in between leads back
to it; whoever opens it then gets the page that the deed belongs to.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse

from registry.desk.actor import Actor

P = ParamSpec("P")
Deed = Callable[Concatenate[HttpRequest, Actor, P], HttpResponseBase]


def done_from(there: str, *kept: str) -> Callable[[Deed[P]], Deed[P]]:
    """Do it on a POST alone; anything else goes to the page named ``there``, with the parts of the
    address that are ``kept``."""

    def decorate(deed: Deed[P]) -> Deed[P]:
        @wraps(deed)
        def asked(
            request: HttpRequest, by: Actor, /, *args: P.args, **kwargs: P.kwargs
        ) -> HttpResponseBase:
            if request.method == "POST":
                return deed(request, by, *args, **kwargs)
            return redirect(reverse(there, kwargs={name: kwargs[name] for name in kept}))

        return asked

    return decorate
