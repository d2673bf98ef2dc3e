"""Middleware of the registry: what every request gets and every answer carries.

Security headers that Django or django-csp can send are settings; only what
neither offers is here.
"""

import re
import secrets
from collections.abc import Callable
from typing import Any

from django.contrib.auth import middleware as auth
from django.http import HttpRequest, HttpResponseBase

from registry.logs import current_request_id

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
    """Send the two headers that keep browser features and other sites away from our answers."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer the request with both headers on it."""
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", _PERMISSIONS)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        return response


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
