"""A registrar makes a passkey and signs in with it, also while somebody guesses at the password; an
authenticator app is set up by keyboard and without a script."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.test import Client
from playwright.sync_api import Page

from tests.browser import OpenPage
from tests.factories import PASSWORD, Club, Person
from tests.journeys.conftest import Look, look_in_both_lights
from tests.signing_in import code_now

pytestmark = pytest.mark.django_db(transaction=True)

SignIn = Callable[[Page, Person], None]


@contextmanager
def device(page: Page) -> Iterator[None]:
    """A device with a passkey store that says yes, as Chromium's own tests have it."""
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2",
        "transport": "internal",
        "hasResidentKey": True,
        "hasUserVerification": True,
        "isUserVerified": True,
        "automaticPresenceSimulation": True,
    }
    session.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    yield
    session.send("WebAuthn.disable")


def test_a_passkey_opens_the_account_even_under_attack(
    page: Page, look: Look, sign_in: SignIn, live_server: Any, club: Club
) -> None:
    sign_in(page, club.registrar)
    with device(page):
        page.goto(f"{live_server.url}/account/")
        look(page)
        page.get_by_role("link", name="Make a passkey").click()
        look(page)
        page.get_by_label("Name of this passkey").fill("office computer")
        page.get_by_role("button", name="Make the passkey").click()
        page.get_by_role("heading", name="Recovery codes").wait_for()
        look(page)
        page.get_by_role("link", name="I have them").click()
        page.get_by_text("office computer").first.wait_for()
        page.get_by_role("button", name="Sign out", exact=True).click()

        for number in range(8):
            guess = {"login": club.registrar.login, "password": f"a guess of number {number}"}
            Client(REMOTE_ADDR=f"192.0.2.{number + 1}").post("/sign-in/", guess)
        page.goto(f"{live_server.url}/sign-in/")
        page.get_by_role("button", name="Sign in with a passkey").click()
        page.wait_for_url("**/registrar/")

    kept = Authenticator.objects.get(user=club.registrar.user, type=Authenticator.Type.WEBAUTHN)
    assert kept.last_used_at is not None


def test_a_passkey_is_the_second_step_and_the_proof_too(
    page: Page, look: Look, sign_in: SignIn, live_server: Any, club: Club
) -> None:
    sign_in(page, club.registrar)
    with device(page):
        page.goto(f"{live_server.url}/account/passkeys/new/")
        page.get_by_role("button", name="Make the passkey").click()
        page.get_by_role("heading", name="Recovery codes").wait_for()
        page.get_by_role("button", name="Sign out", exact=True).click()

        page.goto(f"{live_server.url}/sign-in/")
        page.get_by_label("Login").fill(club.registrar.login)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.wait_for_url("**/sign-in/code/")
        look(page)
        page.get_by_role("button", name="Use a passkey instead").click()
        page.wait_for_url("**/registrar/")

        page.goto(f"{live_server.url}/sign-in/again/passkey/?next=/account/")
        look(page)
        page.get_by_role("button", name="Use a passkey").click()
        page.wait_for_url("**/account/")


def test_a_device_without_a_passkey_is_told_of_in_words(
    page: Page, live_server: Any, club: Club
) -> None:
    page.goto(f"{live_server.url}/sign-in/")
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    options = {"protocol": "ctap2", "transport": "internal", "hasResidentKey": True}
    session.send("WebAuthn.addVirtualAuthenticator", {"options": options})

    told = page.get_by_text("The device gave no passkey")
    assert not told.is_visible()
    page.get_by_role("button", name="Sign in with a passkey").click()

    told.wait_for()
    assert not page.get_by_text("This browser has no passkeys").is_visible()


def test_an_app_is_set_up_without_a_script_and_asked_for_afterwards(
    open_page: OpenPage, look: Look, sign_in: SignIn, live_server: Any, club: Club
) -> None:
    with open_page(java_script_enabled=False) as page:
        sign_in(page, club.nurse)
        page.goto(f"{live_server.url}/account/")
        assert page.get_by_role("link", name="Make a passkey").is_visible()
        page.get_by_role("link", name="Set up an app").click()
        key = page.locator("main code").inner_text()
        page.get_by_label("The code that the app shows now").fill(code_now(key))
        page.get_by_role("button", name="Take it into use").click()
        page.get_by_role("heading", name="Recovery codes").wait_for()
        codes = re.findall(r"\d{4} \d{4}", page.locator("main").inner_text())
        page.get_by_role("button", name="Sign out", exact=True).click()

        page.goto(f"{live_server.url}/sign-in/")
        assert not page.get_by_role("button", name="Sign in with a passkey").is_visible()
        page.get_by_label("Login").fill(club.nurse.login)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.get_by_label("Code").fill(codes[0])
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.wait_for_url("**/clinic/")


@pytest.mark.parametrize("width", [320, 768, 1280])
def test_axe_finds_nothing_on_any_page_of_sign_in_and_account(
    open_page: OpenPage, look: Look, sign_in: SignIn, live_server: Any, club: Club, width: int
) -> None:
    open_to_all = ["sign-in/", "sign-in/forgotten/", "sign-in/forgotten/sent/", "welcome/chosen/"]
    own = ["", "app/remove/", "passkeys/new/", "password/", "codes/new/", "codes/"]
    with open_page(viewport={"width": width, "height": 800}) as page:
        for path in open_to_all:
            page.goto(f"{live_server.url}/{path}")
            look_in_both_lights(page, look)
        sign_in(page, club.registrar)
        page.goto(f"{live_server.url}/account/codes/new/")
        page.get_by_role("button", name="Make new codes").click()
        for path in own:
            page.goto(f"{live_server.url}/account/{path}")
            look_in_both_lights(page, look)
        page.goto(f"{live_server.url}/sign-in/again/?next=/account/")
        look_in_both_lights(page, look)
