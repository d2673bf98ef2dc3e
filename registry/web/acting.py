"""In which role the signed-in person acts on a page: the room's own role, or none and the page is
missing.

The room decides the role, so nobody acts as registrar on a clinic's page. A person who works for
several clinics has chosen one of them; the choice lies in their session.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.views.decorators.cache import never_cache

from registry.desk.actor import Actor, actor_for
from registry.models import Membership, Role, User
from registry.queries.second_steps import NEEDS_SECOND_STEP, has_second_step

CHOSEN_CLINIC = "clinic"
P = ParamSpec("P")


def page_for(
    role: Role,
) -> Callable[
    [Callable[Concatenate[HttpRequest, Actor, P], HttpResponseBase]],
    Callable[Concatenate[HttpRequest, P], HttpResponseBase],
]:
    """Give a view the person acting in the role; for anybody else the page does not exist."""

    def decorate(
        view: Callable[Concatenate[HttpRequest, Actor, P], HttpResponseBase],
    ) -> Callable[Concatenate[HttpRequest, P], HttpResponseBase]:
        @wraps(view)
        def page(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            actor = acting_as(request, role)
            if role in NEEDS_SECOND_STEP and not has_second_step(signed_in_person(request)):
                return redirect("mfa_index")
            return view(request, actor, *args, **kwargs)

        return never_cache(page)

    return decorate


def acting_as(request: HttpRequest, role: Role) -> Actor:
    """The actor of this request in the role; raises Http404 for a person who does not have it."""
    memberships = [held for held in memberships_of(request) if held.role == role]
    chosen = request.session.get(CHOSEN_CLINIC, "")
    for held in memberships:
        if held.clinic is not None and held.clinic.public_id == chosen:
            return _actor(request, held)
    if not memberships:
        raise Http404
    return _actor(request, memberships[0])


def memberships_of(request: HttpRequest) -> list[Membership]:
    """The person's roles that have not ended, in a fixed order; none for an anonymous reader."""
    if not isinstance(request.user, User):
        return []
    held = request.user.memberships.filter(ended_at__isnull=True).select_related("user", "clinic")
    return list(held.order_by("role", "clinic__name", "pk"))


def signed_in_person(request: HttpRequest) -> User:
    """The person of a page behind the sign-in."""
    if not isinstance(request.user, User):
        raise Http404
    return request.user


def _actor(request: HttpRequest, held: Membership) -> Actor:
    return actor_for(held, via="web", request_id=getattr(request, "request_id", ""))
