"""The secretary invites a nurse, who chooses a password, and makes a token that a program uses."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from playwright.sync_api import Page

from registry.models import Role
from tests.browser import OpenPage
from tests.factories import PASSWORD, Club, Person
from tests.journeys.conftest import Look, look_in_both_lights

pytestmark = pytest.mark.django_db(transaction=True)

SignIn = Callable[[Page, Person], None]


def test_a_new_nurse_can_work_and_so_can_the_clinics_program(
    page: Page, look: Look, sign_in: SignIn, live_server: Any, club: Club
) -> None:
    sign_in(page, club.secretary)
    page.goto(f"{live_server.url}/secretary/people/new/")
    page.get_by_label("Full name").fill("Rowan Ashgill")
    page.get_by_label("Login").fill("rowan")
    page.get_by_label("Mail address").fill("rowan@clinic.example")
    page.locator("[name=role][value=clinic]").check()
    page.get_by_label("Clinic", exact=True).select_option(label=club.clinic.name)
    page.get_by_role("button", name="Send the invitation").click()
    page.get_by_text("gets a mail with a link").wait_for()

    page.get_by_role("link", name="Rowan Ashgill").click()
    page.get_by_role("link", name="Make a token for a program").click()
    page.get_by_label("What it is for").fill("the program at the front desk")
    for box in page.locator("[name=scopes]").all():
        box.check()
    page.get_by_role("button", name="Make the token").click()
    secret = page.locator("main code").first.inner_text()
    look(page)

    answer = page.context.request.get(
        f"{live_server.url}/api/v1/me", headers={"Authorization": f"Bearer {secret}"}
    )
    assert answer.status == 200, answer.text()
    assert answer.json()["role"] == Role.CLINIC
    assert club.clinic.public_id in answer.text()
    refused = page.context.request.get(
        f"{live_server.url}/api/v1/me", headers={"Authorization": f"Bearer {secret}x"}
    )
    assert refused.status == 401

    page.get_by_role("button", name="Sign out").click()
    letter = next(each for each in mail.outbox if each.to == ["rowan@clinic.example"])
    link = re.search(r"/welcome/\S+", str(letter.body))
    assert link is not None
    page.goto(f"{live_server.url}{link[0]}")
    look(page)
    page.get_by_label("New password").fill(PASSWORD)
    page.get_by_role("button", name="Choose this password").click()
    page.get_by_role("main").get_by_role("link", name="Sign in").click()
    page.get_by_label("Login").fill("rowan")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_url("**/clinic/")


@pytest.mark.parametrize("width", [320, 768, 1280])
def test_axe_finds_nothing_on_any_kind_of_secretarys_page(
    open_page: OpenPage, look: Look, sign_in: SignIn, live_server: Any, club: Club, width: int
) -> None:
    person = club.nurse
    paths = ["", "mail/", "people/", "people/new/", f"people/{person.user.pk}/"]
    paths += [f"people/{person.user.pk}/{page}/" for page in ("role", "link", "close")]
    paths += [f"roles/{person.membership.pk}/token/", "tokens/", "clinics/", "breeds/", "traits/"]
    with open_page(viewport={"width": width, "height": 800}) as page:
        sign_in(page, club.secretary)
        paths.append(f"people/{club.registrar.user.pk}/second-steps/")
        for path in [*paths, f"clinics/{club.clinic.public_id}/", "traits/hip-laxity/"]:
            page.goto(f"{live_server.url}/secretary/{path}")
            look_in_both_lights(page, look)
