"""What becomes of a request without TLS, and what an answer over TLS binds the browser to."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from pytest_django import Settings

from tests.assurance.source import ROOT
from tests.factories import PASSWORD, Club, make_club, make_token
from tests.routes import all_routes

pytestmark = pytest.mark.django_db

ROUTES = all_routes()
CADDYFILE = (ROOT / "deploy" / "Caddyfile").read_text(encoding="utf-8")


@pytest.fixture
def production(settings: Settings) -> Settings:
    """The transport settings that production mode has."""
    settings.SECURE_SSL_REDIRECT = True
    settings.SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60
    settings.SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = True
    settings.SESSION_COOKIE_NAME, settings.CSRF_COOKIE_NAME = "__Host-session", "__Host-csrf"
    return settings


@pytest.fixture
def club(db: None) -> Club:
    return make_club()


def test_every_answer_over_tls_asks_for_tls_for_a_year(production: Settings, club: Club) -> None:
    client, without = Client(), []

    for route in ROUTES:
        answer = client.get(route.path, secure=True)
        asked = answer.get("Strict-Transport-Security", "")
        if asked != "max-age=31536000; includeSubDomains":
            without.append(f"{route}: {asked}")

    assert without == []


def test_a_persons_page_without_tls_leads_to_tls(production: Settings, club: Club) -> None:
    client, wrong = Client(), []

    for route in ROUTES:
        if route.path.startswith("/api/") or route.name == "healthz":
            continue
        answer = client.get(route.path)
        if answer.status_code != 301 or not answer["Location"].startswith("https://testserver/"):
            wrong.append(f"{route}: {answer.status_code}")

    assert wrong == []


def test_a_program_without_tls_is_refused_and_not_led_on(production: Settings, club: Club) -> None:
    token = make_token(club.nurse, by=club.secretary.actor)
    client = Client(headers={"Authorization": f"Bearer {token}"})

    for route in ROUTES:
        if route.path.startswith("/api/"):
            for method in ("get", "post", "put", "delete"):
                answer = getattr(client, method)(route.path)

                assert answer.status_code == 403, str(route)
                assert answer["Content-Type"] == "application/problem+json"
                assert "https" in answer.json()["detail"]
                assert "Location" not in answer
                assert token not in answer.content.decode()


def test_a_program_with_tls_is_answered(production: Settings, club: Club) -> None:
    token = make_token(club.nurse, by=club.secretary.actor)
    client = Client(headers={"Authorization": f"Bearer {token}"})

    assert client.get("/api/v1/me", secure=True).status_code == 200


def test_a_visitor_cannot_claim_to_have_come_by_tls(production: Settings, club: Club) -> None:
    """Without a proxy that is believed, its headers are a visitor's own words."""
    production.SECURE_PROXY_SSL_HEADER = None
    client = Client(headers={"X-Forwarded-Proto": "https", "X-Forwarded-Ssl": "on"})

    assert client.get("/").status_code == 301
    assert client.get("/api/v1/breeds").status_code == 403


def test_a_visitor_cannot_choose_the_host_or_its_own_address(club: Club) -> None:
    client = Client(headers={"X-Forwarded-Host": "elsewhere.invalid", "X-Forwarded-For": "6.6.6.6"})

    answer = client.get("/c/aaaaaaaaaa/")

    assert b"elsewhere.invalid" not in answer.content
    assert "elsewhere.invalid" not in answer.get("Location", "")
    assert Client(headers={"Host": "elsewhere.invalid"}).get("/").status_code == 400


def test_a_new_address_in_a_header_is_no_new_caller(settings: Settings, club: Club) -> None:
    """Otherwise the throttle of callers without a token would hold nobody."""
    settings.TRUST_PROXY = False
    statuses = []

    for number in range(602):
        headers = {
            "X-Forwarded-For": f"203.0.113.{number % 250}",
            "X-Real-IP": f"10.0.0.{number % 9}",
        }
        statuses.append(Client(headers=headers).get("/api/v1/breeds").status_code)

    assert set(statuses[:600]) == {200}
    assert statuses[-1] == 429


class TestCookies:
    def test_each_is_bound_to_host_tls_and_http(self, production: Settings, club: Club) -> None:
        client = Client()

        client.get("/sign-in/", secure=True)
        client.post("/sign-in/", {"username": club.nurse.login, "password": PASSWORD}, secure=True)

        assert set(client.cookies) >= {"__Host-csrf"}
        for name, cookie in client.cookies.items():
            assert name.startswith("__Host-")
            assert cookie["secure"] is True
            assert cookie["httponly"] is True
            assert cookie["samesite"] == "Lax"
            assert cookie["path"] == "/"
            assert cookie["domain"] == ""

    def test_a_form_of_another_site_is_refused(self, production: Settings, club: Club) -> None:
        client = Client(enforce_csrf_checks=True)
        client.force_login(club.secretary.user)
        posts = 0

        for route in ROUTES:
            if route.namespace in {"clinic", "registrar", "secretary"} or route.name == "sign-out":
                answer = client.post(
                    route.path, secure=True, headers={"Origin": "https://elsewhere.invalid"}
                )
                posts += answer.status_code == 403
                assert answer.status_code in {403, 405}, str(route)

        assert posts > 40

    def test_a_session_cookie_opens_nothing_of_the_interface(self, club: Club) -> None:
        """So no page of another site can make a signed-in person's browser call it."""
        client = Client()
        client.force_login(club.registrar.user)

        assert client.get("/api/v1/me").status_code == 401
        assert client.post("/api/v1/dogs", {}, content_type="application/json").status_code == 401

    def test_a_read_changes_nothing(self, club: Club) -> None:
        """Every deed is a POST, PUT, PATCH or DELETE; the table of entries stays as it is."""
        from registry.models import Draft, LedgerEntry, OutboxMail  # noqa: PLC0415

        tables = (LedgerEntry, OutboxMail, Draft)
        before = [table.objects.count() for table in tables]

        for person in (club.nurse, club.registrar, club.secretary):
            client = Client()
            client.force_login(person.user)
            for route in ROUTES:
                if route.name != "sign-out":
                    client.get(route.path)
                    client.head(route.path)

        assert [table.objects.count() for table in tables] == before


class TestProxy:
    def test_it_speaks_tls_of_today_only(self) -> None:
        assert re.search(r"protocols tls1\.2 tls1\.3", CADDYFILE)
        assert "insecure" not in CADDYFILE

    def test_it_refuses_programs_without_tls_too(self) -> None:
        plain = CADDYFILE[CADDYFILE.index("http://{$SOUNDLINE_DOMAIN") :]

        assert re.search(r"handle /api/\* {\s*respond \".*\" 403\s*}", plain)
        assert re.search(r"handle {\s*redir https://{host}{uri} 308\s*}", plain)

    def test_only_its_own_headers_reach_the_registry(self) -> None:
        assert "trusted_proxies" not in CADDYFILE
        server = (ROOT / "gunicorn.conf.py").read_text(encoding="utf-8")
        assert 'forwarded_allow_ips = ""' in server

    def test_it_sends_everything_to_the_registry_and_serves_no_file(self) -> None:
        assert re.findall(r"\b(file_server|root|browse|templates)\b", CADDYFILE) == []
