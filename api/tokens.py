"""Who calls: a bearer token, the role it stands for, and the scopes it was given."""

from __future__ import annotations

from typing import Any, cast

from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed, NotAuthenticated
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from registry.desk.actor import Actor, actor_for
from registry.desk.people import note_use
from registry.models import ApiToken, User
from registry.queries.tokens import live_token

PUBLIC = ""
"""Stands in a view's ``scopes`` for a method that anybody may use."""
ANY_TOKEN = "*"  # noqa: S105 - a mark, not a secret
"""Stands there for a method that wants a token of any scope."""


class TokenAuthentication(BaseAuthentication):
    """``Authorization: Bearer sl_…``. A token that does not stand is refused everywhere."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        """Return the person and the token, or None without the header."""
        scheme, _space, secret = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
        if not scheme:
            return None
        secret = secret.strip()
        is_well_formed = scheme.lower() == "bearer" and secret.isascii() and len(secret) <= 200
        token = live_token(secret) if is_well_formed and secret else None
        if token is None:
            raise AuthenticationFailed(_("This token is unknown, revoked or past its day."))
        note_use(token=token, at=timezone.now())
        return token.membership.user, token

    def authenticate_header(self, request: Request) -> str:
        """The scheme that a caller without a token is told of."""
        return 'Bearer realm="registry"'


class HasScope(BasePermission):
    """The view's ``scopes`` say what each method wants; a method not named there is not allowed."""

    def has_permission(self, request: Request, view: Any) -> bool:
        """Whether the token may use the method."""
        method = "GET" if request.method == "HEAD" else request.method
        if method not in view.scopes:
            # No view answers this method: the framework says so with 405.
            return True
        wanted = view.scopes[method]
        if wanted == PUBLIC:
            return True
        if request.auth is None:
            raise NotAuthenticated(_("Send a token: Authorization: Bearer …"))
        self.message = _("The token lacks the scope %(scope)s.") % {"scope": wanted}
        return wanted == ANY_TOKEN or wanted in token_of(request).scopes


def token_of(request: Request) -> ApiToken:
    """The token of a request that carried one."""
    return cast("ApiToken", request.auth)


def actor_of(request: Request) -> Actor:
    """The actor of a request that carried a token."""
    token = token_of(request)
    request_id = getattr(request._request, "request_id", "")  # noqa: SLF001 - Django's own request
    return actor_for(token.membership, via="api", token=token, request_id=request_id)
