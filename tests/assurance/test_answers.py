"""What every answer of every route carries or leaves out, whoever asks."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from pytest_django import Settings

from tests.factories import Club, make_accepted, make_club
from tests.routes import Route, all_routes
from tests.signing_in import sign_in

pytestmark = pytest.mark.django_db

ROUTES = all_routes()
ROLES = ("nurse", "registrar", "secretary")
ROOMS = frozenset({"clinic", "registrar", "secretary"})
TEXT = ("text/", "application/xml", "image/svg+xml")


@pytest.fixture
def club() -> Club:
    club = make_club()
    make_accepted(club)
    return club


def signed_in(club: Club, role: str) -> Client:
    client = Client()
    sign_in(client, getattr(club, role))
    return client


def is_inside(route: Route) -> bool:
    """Whether the page is for people who are signed in."""
    return route.namespace in ROOMS or route.path.startswith(("/account/", "/rooms/"))


def answers(club: Club, method: str = "get", **asked: Any) -> Iterator[tuple[Route, str, Any]]:
    """Every route's answer to a visitor and to each role."""
    clients = {"visitor": Client(), **{role: signed_in(club, role) for role in ROLES}}
    for route in ROUTES:
        if route.name == "sign-out":
            continue
        for who, client in clients.items():
            yield route, who, getattr(client, method)(route.path, **asked)


def test_every_body_says_its_type_and_texts_their_charset(club: Club) -> None:
    wrong = []

    for route, who, answer in answers(club):
        kind = answer.get("Content-Type", "")
        has_body = answer.streaming or answer.content
        if has_body and (not kind or (kind.startswith(TEXT) and "charset=utf-8" not in kind)):
            wrong.append(f"{route} for {who}: {kind or 'none'}")

    assert wrong == []


# What a certificate's names mean is for every checker's page: it is the same for all, and public.
SHARED = frozenset({"buyer:context"})


def test_no_answer_is_shared_with_another_origin(club: Club) -> None:
    opened = [
        f"{route} for {who}"
        for route, who, answer in answers(club, headers={"Origin": "https://elsewhere.invalid"})
        if any(name.lower().startswith("access-control-") for name in answer.headers)
        and route.name not in SHARED
    ]

    assert opened == []


def test_what_is_shared_is_the_same_for_all(club: Club) -> None:
    told = {
        (answer.content, answer.get("Access-Control-Allow-Origin"), bool(answer.cookies))
        for route, _who, answer in answers(club, headers={"Origin": "https://elsewhere.invalid"})
        if route.name in SHARED
    }

    assert [origin for _content, origin, _cookies in told] == ["*"]
    assert not any(cookies for _content, _origin, cookies in told)


def test_no_page_behind_the_sign_in_is_kept_by_a_browser_or_a_proxy(club: Club) -> None:
    kept, seen = [], 0

    for route, who, answer in answers(club):
        if is_inside(route) and who != "visitor" and answer.status_code == 200:
            seen += 1
            if not {"no-store", "private"} <= set(answer["Cache-Control"].split(", ")):
                kept.append(f"{route} for {who}: {answer['Cache-Control']}")

    assert kept == []
    assert seen > 20


def test_every_page_behind_the_sign_in_can_be_left_by_signing_out(club: Club) -> None:
    without, seen = [], 0

    for route, who, answer in answers(club):
        is_page = answer.get("Content-Type", "").startswith("text/html")
        if is_inside(route) and answer.status_code == 200 and is_page:
            seen += 1
            if b'action="/sign-out/"' not in answer.content:
                without.append(f"{route} for {who}")

    assert without == []
    assert seen > 15


def test_no_answer_names_the_server_or_its_version(club: Club) -> None:
    told = [
        f"{route}: {name}"
        for route, _who, answer in answers(club)
        for name in ("Server", "X-Powered-By", "Via")
        if name in answer.headers
    ]

    assert told == []


def test_trace_is_answered_nowhere(club: Club) -> None:
    """Answered, it would send back the cookies and tokens that came with it."""
    answered = [
        f"{route} for {who}: {answer.status_code}"
        for route, who, answer in answers(club, "trace", headers={"X-Canary": "sent-along"})
        if answer.status_code not in {401, 404, 405} or b"sent-along" in answer.content
    ]

    assert answered == []


def test_no_redirect_leads_to_another_host(club: Club) -> None:
    asked = {"next": "//elsewhere.invalid/", "q": "https://elsewhere.invalid", "url": "//a.invalid"}
    led_away = [
        f"{route} for {who}: {answer['Location']}"
        for route, who, answer in answers(club, data=asked)
        if "Location" in answer.headers
        and not (answer["Location"].startswith("/") and not answer["Location"].startswith("//"))
    ]

    assert led_away == []


def test_no_answer_says_a_session_or_form_token_in_an_address(club: Club) -> None:
    client = signed_in(club, "secretary")
    client.get("/secretary/")
    secrets = [cookie.value for cookie in client.cookies.values()]
    told = []

    for route in ROUTES:
        answer = client.get(route.path) if route.name != "sign-out" else None
        if answer is not None and any(each in answer.get("Location", "") for each in secrets):
            told.append(str(route))

    assert secrets
    assert told == []


def test_a_folder_of_files_is_never_listed(client: Client) -> None:
    for path in ("/static/", "/static/soundline/", "/templates/", "/.git/config", "/var/"):
        assert client.get(path).status_code == 404, path


def test_an_encoded_way_out_is_not_decoded_twice(client: Client) -> None:
    for path in (
        "/static/..%2f..%2fmanage.py",
        "/static/%252e%252e/%252e%252e/manage.py",
        "/C/%252e%252e%252fetc",
        "/dogs/%2e%2e/%2e%2e/",
    ):
        answer = client.get(path)

        assert answer.status_code in {301, 302, 404}, path
        assert b"DJANGO_SETTINGS_MODULE" not in answer.content


def test_security_txt_says_whom_to_tell(client: Client, settings: Settings) -> None:
    # RFC 9116: Contact and Expires are required, lines are "Name: value" (sections 2.5.3, 2.5.5).
    settings.SECURITY_CONTACT = "holes@club.example"
    settings.SITE_URL = "https://registry.example"

    answer = client.get("/.well-known/security.txt")

    lines = dict(line.split(": ", 1) for line in answer.content.decode().splitlines())
    expires = parse_datetime(lines["Expires"])
    assert answer["Content-Type"] == "text/plain; charset=utf-8"
    assert lines["Contact"] == "mailto:holes@club.example"
    assert lines["Canonical"] == "https://registry.example/.well-known/security.txt"
    assert expires is not None
    assert timedelta(days=30) < expires - timezone.now() < timedelta(days=365)


def test_security_txt_may_name_a_page(client: Client, settings: Settings) -> None:
    settings.SECURITY_CONTACT = "https://club.example/holes"

    assert (
        b"Contact: https://club.example/holes\n" in client.get("/.well-known/security.txt").content
    )
