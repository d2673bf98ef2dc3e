"""What another clinic has answers a clinic exactly like what nobody has: status, headers and body,
byte for byte, on every route that names an object, by page and by token.

The routes are read from the address book. One whose argument is not declared here fails the test,
so that nobody can add a page without saying whose objects it shows.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.core.cache import cache
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.desk import drafts, evidence
from registry.desk.announce import announce
from registry.desk.decide import return_for_correction
from registry.models import ApiToken, Owner
from tests.factories import (
    Club,
    Person,
    make_body,
    make_club,
    make_dog,
    make_submitted,
    make_token,
)
from tests.routes import Route, all_routes
from tests.signing_in import sign_in

# Open to everybody: a dog, a breed and a trait are public, and so is what bears a printed number.
PUBLIC_ROOMS = frozenset({"buyer", "breeder"})
PUBLIC = frozenset({"breed", "trait", "slug", "trait_slug", "number", "rest", "typed", "purpose"})
PUBLIC_PATHS = ("/api/v1/dogs/",)
ROUTES = [route for route in all_routes() if route.arguments]
METHODS = ("get", "post", "put", "delete")
# What differs between any two answers.
_PASSING = re.compile(r'name="csrfmiddlewaretoken" value="\w+"')
_HEADERS = frozenset({"X-Request-ID", "Content-Length", "Expires"})


def is_public(route: Route) -> bool:
    """Whether the route names only what everybody may see."""
    return (
        route.namespace in PUBLIC_ROOMS
        or route.path.startswith(PUBLIC_PATHS)
        or set(route.arguments) <= PUBLIC
    )


@dataclass(frozen=True)
class Things:
    """One of each kind of object, by the name of the argument that names it."""

    ids: dict[str, str | int]

    def of(self, route: Route) -> dict[str, str | int]:
        """The arguments of a route; KeyError for one that nobody declared."""
        kind = route.path.split("/")[3] if route.namespace == "api" else ""
        return {
            name: self.ids[f"{kind}.{name}" if kind and name == "public_id" else name]
            for name in route.arguments
        }


def things_of(club: Club, person: Person) -> Things:
    """What one clinic has, and what the club has on it."""
    draft = drafts.start_draft(by=person.actor)
    film = evidence.attach(
        by=person.actor, chunks=[b"%PDF-1.7 film"], name="hips.pdf", draft_id=draft.public_id
    )
    dog = make_dog(club)
    announced = announce(by=person.actor, dog_id=dog.public_id, examined_on=timezone.localdate())
    returned = submitted_by(club, person)
    return_for_correction(
        by=club.registrar.actor, evaluation_id=returned, reason="which side is left?"
    )
    assert person.membership.clinic is not None
    token = ApiToken.objects.filter(membership=person.membership).first()
    assert token is not None
    owner = Owner.objects.last()
    assert owner is not None
    return Things(
        {
            "draft_id": draft.public_id,
            "evidence_id": film.public_id,
            "evaluation_id": returned,
            "evaluations.public_id": returned,
            "evidence.public_id": film.public_id,
            "announcement_id": announced.public_id,
            "announcements.public_id": announced.public_id,
            "dog_id": dog.public_id,
            "owner_id": owner.public_id,
            "user_id": person.user.pk,
            "membership_id": person.membership.pk,
            "token_id": token.pk,
            "clinic_id": person.membership.clinic.public_id,
            "slug": club.breed.slug,
            "breed": club.breed.slug,
            "number": 1,
            "file_id": "0123456789abcdef",
            "look_id": 1,
            "subject_id": person.user.subject_id,
            "token": "bu9f2g-0123456789abcdef0123456789abcdef",
            "pk": _passkey_of(person),
            "session_pk": _session_of(person),
        }
    )


def _passkey_of(person: Person) -> int:
    kept = Authenticator.objects.create(
        user=person.user, type=Authenticator.Type.WEBAUTHN, data={"name": "office"}
    )
    return int(kept.pk)


def _session_of(person: Person) -> int:
    key = f"somewhere-else-{person.user.pk}"
    kept = UserSession.objects.create(user=person.user, ip="192.0.2.7", session_key=key)
    return int(kept.pk)


def submitted_by(club: Club, person: Person) -> str:
    """A result of that person's clinic."""
    return make_submitted(replace(club, nurse=person)).public_id


def missing(things: Things) -> Things:
    """Ids of the same shape that name nothing."""
    return Things(
        {
            name: "z" * len(value) if isinstance(value, str) else value + 900_000
            for name, value in things.ids.items()
        }
    )


Ask = Callable[[str, str], Any]


def by_page(person: Person) -> Ask:
    client = Client()
    sign_in(client, person)

    def ask(method: str, path: str) -> Any:
        if method == "post":
            return client.post(path, {"reason": "typed wrongly"})
        return getattr(client, method)(path)

    return ask


def by_token(token: str, body: dict[str, Any]) -> Ask:
    client = Client(headers={"Authorization": f"Bearer {token}"})

    def ask(method: str, path: str) -> Any:
        sent = {"reason": "typed wrongly"} if "/evaluations/" in path and method == "post" else body
        data = b"" if method in ("get", "delete") else json.dumps(sent)
        return client.generic(method.upper(), path, data, content_type="application/json")

    return ask


def said(answer: Any, path: str, ids: Things) -> tuple[int, dict[str, str], str]:
    """An answer without what differs between any two, and without the ids that were typed."""
    content = b"".join(answer) if answer.streaming else answer.content
    headers = {name: value for name, value in answer.items() if name not in _HEADERS}
    typed = [path, answer["X-Request-ID"]]
    typed += [value for value in ids.ids.values() if isinstance(value, str)]

    def blanked(text: str) -> str:
        for value in typed:
            text = text.replace(value, "…")
        return text

    text = blanked(_PASSING.sub("", content.decode("utf-8", "replace")))
    return answer.status_code, {name: blanked(each) for name, each in headers.items()}, text


@dataclass(frozen=True)
class Scene:
    """A clinic that asks, by page and by token; what is its own, another's, and nobody's."""

    page: Ask
    token: Ask
    own: Things
    others: Things
    none: Things
    secret: str
    body: dict[str, Any]

    def ask(self, route: Route) -> Ask:
        return self.token if route.namespace == "api" else self.page


@pytest.fixture
def scene(db: None) -> Scene:
    club = make_club()
    token = make_token(club.nurse, by=club.secretary.actor)
    make_token(club.other_nurse, by=club.secretary.actor)
    others = things_of(club, club.other_nurse)
    body = make_body(make_dog(club))
    return Scene(
        by_page(club.nurse),
        by_token(token, body),
        things_of(club, club.nurse),
        others,
        missing(others),
        token,
        body,
    )


def answered(ask: Ask, method: str, path: str, ids: Things) -> tuple[int, dict[str, str], str]:
    """Ask, and undo what it did."""
    cache.clear()
    with transaction.atomic():
        answer = ask(method, path)
        told = said(answer, path, ids)
        transaction.set_rollback(True)
    return told


def test_every_route_that_names_an_object_says_whose(scene: Scene) -> None:
    undeclared = []

    for route in ROUTES:
        try:
            if not is_public(route):
                scene.own.of(route)
        except KeyError as error:
            undeclared.append(f"{route}: {error}")

    assert undeclared == []
    assert len(ROUTES) > 60


def test_anothers_answers_exactly_like_nobodys(scene: Scene) -> None:
    differing, compared = [], 0

    for route in ROUTES:
        if is_public(route):
            continue
        ask = scene.ask(route)
        for method in METHODS:
            others, none = (
                answered(ask, method, reverse(route.name, kwargs=ids.of(route)), ids)
                for ids in (scene.others, scene.none)
            )
            compared += 1
            if others != none or others[0] not in {403, 404, 405, 415, 422}:
                differing.append(f"{method.upper()} {route}: {others[0]}, {none[0]}")

    assert differing == []
    assert compared >= 200


def test_the_own_is_answered(scene: Scene) -> None:
    """Were it not, the comparison would say nothing."""
    silent = []

    for route in ROUTES:
        is_theirs = route.namespace == "clinic" or "/evaluations/" in route.path
        if is_public(route) or not is_theirs:
            continue
        path = reverse(route.name, kwargs=scene.own.of(route))
        statuses = {
            answered(scene.ask(route), method, path, scene.own)[0] for method in ("get", "post")
        }
        # What only a registrar may do with it is refused to a clinic's token by its scope.
        if statuses <= {404, 405}:
            silent.append(f"{route}: {sorted(statuses)}")

    assert silent == []


def test_what_a_form_or_a_body_names_is_anothers_or_nobodys_alike(scene: Scene) -> None:
    pairs = []
    for ids in (scene.others, scene.none):
        film, draft, clinic = (ids.ids[name] for name in ("evidence_id", "draft_id", "clinic_id"))
        sending = by_token(scene.secret, {**scene.body, "evidence": [film]})
        pairs.append(
            [
                answered(scene.page, "get", f"/clinic/results/new/?draft={draft}", ids),
                answered(scene.token, "get", f"/api/v1/evaluations?clinic={clinic}", ids),
                answered(sending, "post", "/api/v1/evaluations", ids),
            ]
        )

    assert pairs[0] == pairs[1]
    assert [status for status, _headers, _text in pairs[0]] == [404, 200, 422]
