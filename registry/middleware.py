"""Middleware of the registry: what every request gets and every answer carries.

Security headers that Django or django-csp can send are settings; only what
neither offers is here.
"""

import logging
import re
import secrets
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import middleware as auth
from django.contrib.sessions import middleware as sessions
from django.contrib.sessions.exceptions import SessionInterrupted
from django.db import OperationalError
from django.http import (
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    HttpResponseNotAllowed,
    JsonResponse,
)

from registry.interruptions import passes
from registry.logs import current_request_id

logger = logging.getLogger(__name__)

GetResponse = Callable[[HttpRequest], HttpResponseBase]

_WELL_FORMED = re.compile(r"[A-Za-z0-9._-]{8,64}", re.ASCII)

# What our pages never use, no embedded page may use either.
_PERMISSIONS = ", ".join(
    f"{feature}=()"
    for feature in (
        "accelerometer",
        "autoplay",
        "bluetooth",
        "browsing-topics",
        "camera",
        "display-capture",
        "geolocation",
        "gyroscope",
        "hid",
        "magnetometer",
        "microphone",
        "midi",
        "payment",
        "serial",
        "usb",
    )
)


class RequestIdMiddleware:
    """Give each request an id: `request.request_id`, the X-Request-ID header and the log line.

    A caller's own X-Request-ID is kept if it is 8 to 64 plain characters. Anything
    else is replaced, since the id is written into the ledger and into log lines.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer the request with its id on it."""
        offered = request.headers.get("X-Request-ID", "")
        request_id = offered if _WELL_FORMED.fullmatch(offered) else secrets.token_hex(16)
        request.request_id = request_id  # type: ignore[attr-defined]
        token = current_request_id.set(request_id)
        try:
            response = self.get_response(request)
        finally:
            current_request_id.reset(token)
        response["X-Request-ID"] = request_id
        return response


class BrowserLimitsMiddleware:
    """Send the two headers that keep browser features and other sites away from our answers, and at
    signing out the one that makes the browser forget what it kept of them."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer the request with the headers on it."""
        response = self.get_response(request)
        match = request.resolver_match
        if request.method == "POST" and match is not None and match.url_name == "sign-out":
            response.headers["Clear-Site-Data"] = '"cache", "storage"'
        response.headers.setdefault("Permissions-Policy", _PERMISSIONS)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        return response


class SessionMiddleware(sessions.SessionMiddleware):
    """Django's, except that an answer goes out although its session cannot be saved.

    At that moment the deed is done, and what the session still has to note is when somebody was
    last seen, or the words of a notice. A full disk must not hide what was done, nor take away the
    pages on which people see what is wrong.
    """

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        """Save the session of the request, if it has changed."""
        try:
            return super().process_response(request, response)
        except (OperationalError, SessionInterrupted) as error:
            if not passes(error):
                raise
            logger.exception("a session could not be saved")
            return response


class UnsafeRequestMiddleware:
    """Refuse what is unsafe whatever it asks for: TRACE, and a program's call over plain http.

    People are led to https by Django. A program is not: a redirect would hide from it that its
    token goes out readable with every call.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer the request, or the refusal."""
        is_program = request.path_info.startswith("/api/")
        if request.method == "TRACE" and not is_program:
            return HttpResponseNotAllowed(["GET", "HEAD", "POST", "OPTIONS"])
        if settings.SECURE_SSL_REDIRECT and is_program and not request.is_secure():
            detail = (
                "Call this address with https. A token that was sent without it may have been "
                "read on the way: have it revoked."
            )
            told = {"type": "about:blank", "title": "Forbidden", "status": 403, "detail": detail}
            return JsonResponse(told, status=403, content_type="application/problem+json")
        return self.get_response(request)


class RefusalLogMiddleware:
    """Leave a log line for every refusal: which route, which status, and who, by random id.

    A room that is not the person's own answers as a missing page does (404), and is a refusal too.
    Addresses, names, typed words and secrets are left out; the request's id leads to the rest.
    """

    _STATUSES = frozenset({401, 403, 413, 429})
    # Input that cannot be taken and deeds that come too late: mostly slips, so no warning.
    _SLIPS = frozenset({400, 409, 422})
    _ROOMS = frozenset({"clinic", "registrar", "secretary"})

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer the request; log it when it was refused."""
        response = self.get_response(request)
        match = request.resolver_match
        status = response.status_code
        is_hidden = status == 404 and match is not None and match.namespace in self._ROOMS
        if is_hidden or status in self._STATUSES | self._SLIPS:
            logger.log(
                logging.INFO if status in self._SLIPS else logging.WARNING,
                "refused: %d, %s %s, %s",
                status,
                request.method,
                match.view_name if match else "no route",
                _who(request),
            )
        return response


def _who(request: HttpRequest) -> str:
    """Who asked, as the ledger names them: a token by its first letters, a person by random id."""
    if token := getattr(request, "auth", None):
        return f"token {token.prefix}"
    user = getattr(request, "user", None)
    return f"user {user.subject_id}" if user is not None and user.is_authenticated else "nobody"


class LoginRequiredMiddleware(auth.LoginRequiredMiddleware):
    """Deny by default as Django does, but look at nobody's session on a public page.

    Django asks who is there first, which would make every buyer's page vary by
    cookie, and cost those who have one two queries.
    """

    def process_view(
        self, request: HttpRequest, view_func: Callable[..., Any], view_args: Any, view_kwargs: Any
    ) -> HttpResponseBase | None:
        """Let a public view through; for any other, do as Django does."""
        if not getattr(view_func, "login_required", True):
            return None
        return super().process_view(request, view_func, view_args, view_kwargs)
