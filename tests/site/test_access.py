"""Who gets in where: every route x role x method has a declared expectation, and none is left out.

The expectation is declared by room, since in this site a room is one role's; routes that stand in
no room are declared one by one. A route that fits no declaration fails the test, so that nobody can
add a page without saying who may see it.
"""

from __future__ import annotations

import pytest
from django.core.cache import cache
from django.test import Client

from tests.factories import Club, Person, make_club
from tests.routes import Route, all_routes

ROUTES = all_routes()
METHODS = ("get", "head", "post", "put", "patch", "delete", "options")
ROLES = ("anonymous", "nurse", "registrar", "secretary")

# What an object that does not exist answers, a form that was sent empty, or an address without the
# parameters it asks for.
OPEN = frozenset({200, 301, 302, 304, 400, 401, 403, 404, 405, 406, 415, 422})
HIDDEN = frozenset({404})
SIGN_IN_FIRST = frozenset({302})
INSIDE = frozenset({200, 302, 404, 405, 409, 422})

OPEN_ROOMS = frozenset({"buyer", "breeder"})
ROOM_OF = {"clinic": "nurse", "registrar": "registrar", "secretary": "secretary"}
# Open to everybody by intent, as those rooms are: it is how one gets in.
OPEN_ROUTES = frozenset(
    {
        "healthz",
        "account_login",
        "mfa_login_webauthn",
        "mfa_authenticate",
        "forgotten",
        "link-sent",
        "welcome",
        "password-chosen",
    }
)
# For everybody who is signed in, whatever their role.
FOR_ALL_AFTER_SIGN_IN = frozenset({"rooms", "sign-out", "account_reauthenticate"})
ACCOUNT = "/account/"
AGAIN = "/sign-in/again/"


def expected(route: Route, role: str) -> frozenset[int]:
    """The allowed status codes; raises KeyError for a route without a declaration."""
    if route.namespace in OPEN_ROOMS or route.name in OPEN_ROUTES or route.path.startswith("/api/"):
        return OPEN
    if route.name in FOR_ALL_AFTER_SIGN_IN or route.path.startswith((ACCOUNT, AGAIN)):
        return INSIDE | SIGN_IN_FIRST if role == "anonymous" else INSIDE
    room = ROOM_OF[route.namespace]
    if role == "anonymous":
        return SIGN_IN_FIRST
    # The wrong method is refused before anybody is looked at.
    return INSIDE if role == room else HIDDEN | {405}


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES)
def test_every_route_answers_each_role_as_declared(role: str) -> None:
    club = make_club()
    client = Client(raise_request_exception=True)
    person = _person(club, role)
    surprises = []

    for route in ROUTES:
        allowed = expected(route, role)
        cache.clear()
        for method in METHODS:
            if person is not None:
                # A route before may have ended all sessions.
                person.user.refresh_from_db()
                client.force_login(person.user)
            status = getattr(client, method)(route.path).status_code
            if status not in allowed:
                surprises.append(f"{method.upper()} {route}: {status}")

    assert surprises == []


def _person(club: Club, role: str) -> Person | None:
    return {
        "anonymous": None,
        "nurse": club.nurse,
        "registrar": club.registrar,
        "secretary": club.secretary,
    }[role]
