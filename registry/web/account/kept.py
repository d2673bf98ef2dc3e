"""What the pages of a person's own account share: their navigation, and the session at hand when
all sessions of its person have just ended."""

from __future__ import annotations

from allauth.usersessions.models import UserSession
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest
from django.utils.translation import gettext_lazy

from registry.models import User

# The navigation of a person's own pages, which belong to no room.
OWN_SECTIONS = [("/rooms/", gettext_lazy("Your room"), False)]


def keep_session(request: HttpRequest, user: User) -> None:
    """Go on with it, under a new key."""
    update_session_auth_hash(request, user)
    UserSession.objects.create_from_request(request)
