"""The session at hand, when all sessions of its person have just ended."""

from __future__ import annotations

from allauth.usersessions.models import UserSession
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest

from registry.models import User


def keep_session(request: HttpRequest, user: User) -> None:
    """Go on with it, under a new key."""
    update_session_auth_hash(request, user)
    UserSession.objects.create_from_request(request)
