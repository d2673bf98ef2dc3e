"""What every page of the registrar's room shares: the role check and the room's own navigation."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.http import HttpRequest, HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from registry.desk.actor import Actor
from registry.models import Role
from registry.web.acting import acting_as

P = ParamSpec("P")


def registrar_page(
    view: Callable[Concatenate[HttpRequest, Actor, P], HttpResponseBase],
) -> Callable[Concatenate[HttpRequest, P], HttpResponseBase]:
    """Give the view the acting registrar; for anybody else the page does not exist."""

    @wraps(view)
    def page(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        return view(request, acting_as(request, Role.REGISTRAR), *args, **kwargs)

    return never_cache(page)


def framed(current: str, **context: Any) -> dict[str, Any]:
    """The context with the room's navigation; ``current`` names the section shown."""
    queue = reverse("registrar:queue")
    sections = [
        (queue, _("Waiting"), current == "waiting"),
        (f"{queue}?state=returned", _("Returned"), current == "returned"),
        (f"{queue}?state=accepted", _("Accepted"), current == "accepted"),
        (reverse("buyer:breeds"), _("Breeds"), False),
    ]
    return {"sections": sections, **context}
