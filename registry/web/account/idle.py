"""Sessions that were left alone: the person is asked who they are, and goes on where they were.

Nothing typed is lost: a form that was sent from a page left open is kept and done afterwards.
Twelve hours after the sign-in the session ends in any case.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.internal.flows.reauthentication import suspend_request
from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponseBase

_BEGAN, _SEEN = "began", "seen"
_NOTE_EVERY = 60
# Pages on which the person proves who they are, or leaves.
_ALWAYS = frozenset(
    {
        "account_reauthenticate",
        "mfa_reauthenticate",
        "mfa_reauthenticate_webauthn",
        "sign-out",
    }
)
# A form that is kept lies in the session's row meanwhile; a password must not.
_NOT_KEPT = frozenset({"change-password"})


def note_presence(request: HttpRequest) -> None:
    """Somebody is there, now."""
    request.session[_SEEN] = int(time.time())


class IdleMiddleware:
    """Ask on pages behind the sign-in only; a public page looks at nobody's session."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Let the request through; the question is asked once the page is known."""
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., Any], args: Any, kwargs: Any
    ) -> HttpResponseBase | None:
        """Where to go instead of the page when the session was left alone or is too old."""
        if not getattr(view, "login_required", True) or not request.user.is_authenticated:
            return None
        now = int(time.time())
        session = request.session
        if now - session.setdefault(_BEGAN, now) > settings.SESSION_COOKIE_AGE:
            return _out(request)
        name = request.resolver_match.url_name if request.resolver_match else None
        if now - session.get(_SEEN, now) > settings.IDLE_SECONDS and name not in _ALWAYS:
            return _ask(request)
        if name not in _ALWAYS and now - session.get(_SEEN, 0) >= _NOTE_EVERY:
            note_presence(request)
        return None


def _ask(request: HttpRequest) -> HttpResponseBase:
    methods = get_adapter().get_reauthentication_methods(request.user)
    if not methods:
        return _out(request)
    if request.resolver_match and request.resolver_match.url_name in _NOT_KEPT:
        return redirect_to_login(request.path, methods[0]["url"])
    answer: HttpResponseBase = suspend_request(request, methods[0]["url"])
    return answer


def _out(request: HttpRequest) -> HttpResponseBase:
    logout(request)
    return redirect_to_login(request.get_full_path())
