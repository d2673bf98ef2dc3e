"""What the pages of a person's own account share: their navigation, and the session at hand when
all sessions of its person have just ended."""

from __future__ import annotations

from collections.abc import Callable

from allauth.account.decorators import reauthentication_required
from allauth.usersessions.models import UserSession
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext_lazy

from registry.models import User

# The navigation of a person's own pages, which belong to no room.
OWN_SECTIONS = [("/rooms/", gettext_lazy("Your room"), False)]

View = Callable[..., HttpResponseBase]

proof_required: Callable[[View], View] = reauthentication_required(app="registry")
"""Asks who one is, unless that was proved a short while ago."""


def keep_session(request: HttpRequest, user: User) -> None:
    """Go on with it, under a new key."""
    update_session_auth_hash(request, user)
    UserSession.objects.create_from_request(request)


def renew_session(request: HttpRequest) -> None:
    """A new key for the session at hand, once its person has proved who they are; the list of
    sessions follows."""
    former = request.session.session_key
    request.session.cycle_key()
    UserSession.objects.filter(session_key=former).update(session_key=request.session.session_key)
