"""Browsers that a person has signed in with before: wrong tries there are counted apart.

Somebody who guesses at an account from elsewhere closes its password to everybody else, and not to
its owner. The cookie proves nothing and opens nothing; it only chooses the counter.
"""

from __future__ import annotations

import secrets

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponseBase
from django.utils.crypto import salted_hmac

_SALT = "registry.web.account.device"
_LASTS_SECONDS = 180 * 24 * 60 * 60


def counter_of(request: HttpRequest, login: str) -> str:
    """Under which name wrong tries at this login are counted, coming from this browser."""
    login = login.strip().casefold()
    try:
        kept = signing.loads(
            request.COOKIES.get(settings.DEVICE_COOKIE_NAME, ""),
            salt=_SALT,
            max_age=_LASTS_SECONDS,
        )
    except signing.BadSignature:
        kept = {}
    device = kept.get("device", "") if kept.get("login") == _mark(login) else ""
    return f"login:{login}:{device}" if device else f"login:{login}"


def know(response: HttpResponseBase, login: str) -> None:
    """Know this browser again as one of the person's own."""
    kept = {"login": _mark(login.casefold()), "device": secrets.token_urlsafe(12)}
    response.set_cookie(
        settings.DEVICE_COOKIE_NAME,
        signing.dumps(kept, salt=_SALT),
        max_age=_LASTS_SECONDS,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def _mark(login: str) -> str:
    """Stands for the login in the cookie, which does not say it."""
    return salted_hmac(_SALT, login, algorithm="sha256").hexdigest()[:24]
