"""A puppy buyer on the smallest phone, without an account: looks a parent up and reads it."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from registry.science.numbers import format_number
from tests.browser import PHONE, OpenPage
from tests.factories import Club, make_revoked
from tests.journeys.club import Family
from tests.journeys.conftest import Look, look_in_both_lights

pytestmark = pytest.mark.django_db(transaction=True)

FIRST_VISIT_BYTES = 40 * 1024


def look_up(page: Page, url: str, typed: str) -> None:
    page.goto(url)
    page.get_by_label("Name, chip or certificate number").fill(typed)
    page.get_by_role("button", name="Look up").click()
    page.wait_for_load_state()


@pytest.mark.parametrize("has_script", [True, False], ids=["script", "no script"])
def test_a_misspelt_name_leads_to_the_dog_its_certificate_a_parent_and_back(
    open_page: OpenPage, look: Look, live_server: Any, family: Family, has_script: bool
) -> None:
    with open_page(viewport=PHONE, java_script_enabled=has_script) as page:

        def seen() -> None:
            if has_script:
                look(page)

        look_up(page, live_server.url, "tarnfodl juno")
        seen()
        page.get_by_role("link", name="Tarnfold Juno", exact=True).click()
        page.get_by_role("heading", name="Tarnfold Juno", level=1).wait_for()
        seen()
        page.get_by_role("link", name=f"Certificate {format_number(family.juno.number)}").click()
        page.get_by_text("Genuine and current").wait_for()
        assert page.get_by_text("tested dogs").first.is_visible()
        assert page.get_by_text("not tested or not released").first.is_visible()
        seen()
        page.get_by_role("link", name="Fellgate Otto").first.click()
        page.wait_for_url("**/dogs/**")
        assert page.get_by_role("heading", level=1).inner_text() == "Fellgate Otto"
        seen()
        page.go_back()
        assert page.url.endswith(f"/C/{family.juno.number}")
        assert page.context.cookies() == []


def test_a_number_typed_in_small_letters_with_dashes_leads_to_its_certificate(
    phone: Page, live_server: Any, family: Family
) -> None:
    look_up(phone, live_server.url, format_number(family.juno.number).lower())

    assert phone.url.endswith(f"/C/{family.juno.number}")
    assert phone.get_by_text("Genuine and current").is_visible()


def test_a_chip_leads_to_its_dog(phone: Page, live_server: Any, family: Family) -> None:
    look_up(phone, live_server.url, "276 098 106 234 573")

    assert phone.get_by_role("heading", level=1).inner_text() == "Tarnfold Juno"


def test_a_slip_in_a_number_is_said_and_what_was_typed_stays(
    phone: Page, look: Look, live_server: Any, family: Family
) -> None:
    number = family.juno.number
    # A digit, as a number without any would be looked up as a name.
    typed = number[:-1] + ("7" if number[-1] != "7" else "8")

    look_up(phone, live_server.url, typed)

    assert phone.get_by_text("One letter or digit looks wrong").is_visible()
    assert phone.locator("#q").input_value() == typed
    look(phone)


def test_a_revoked_certificate_cannot_be_missed(
    phone: Page, look: Look, live_server: Any, club: Club, family: Family
) -> None:
    phone.goto(f"{live_server.url}/C/{family.juno.number}")
    genuine = _verdict_look(phone)
    make_revoked(club, family.juno.evaluation.public_id, reason="The film shows another dog.")

    answer = phone.goto(f"{live_server.url}/C/{family.juno.number}")
    revoked = _verdict_look(phone)

    assert answer is not None and answer.status == 200
    assert revoked["text"].startswith("Revoked on ")
    assert revoked["size"] >= genuine["size"]
    assert revoked["bottom"] <= PHONE["height"]
    assert revoked["shape"] != genuine["shape"]
    assert phone.get_by_text("The film shows another dog.").first.is_visible()
    assert phone.get_by_text("0.35").count() == 0
    look(phone)


def _verdict_look(page: Page) -> dict[str, Any]:
    found: dict[str, Any] = page.evaluate(
        """() => { const e = document.querySelector('.verdict'); return {
        text: e.innerText.trim(), size: parseFloat(getComputedStyle(e).fontSize),
        bottom: e.getBoundingClientRect().bottom,
        shape: e.querySelector('path').getAttribute('d') } }"""
    )
    return found


@pytest.mark.parametrize("path", ["", "certificate"])
def test_a_first_visit_is_light_and_leaves_nothing_behind(
    phone: Page, live_server: Any, family: Family, path: str
) -> None:
    # What travels is what the browser's own network log counts: compressed bodies and headers.
    session = phone.context.new_cdp_session(phone)
    session.send("Network.enable")
    sizes: list[float] = []
    session.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))

    phone.goto(f"{live_server.url}/{f'C/{family.juno.number}' if path else ''}")
    phone.wait_for_load_state("networkidle")

    assert 2 <= len(sizes) <= 4
    assert sum(sizes) <= FIRST_VISIT_BYTES
    assert phone.context.cookies() == []
    assert phone.evaluate("localStorage.length + sessionStorage.length") == 0


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_certificate_prints_on_two_sheets_at_most(
    page: Page, live_server: Any, family: Family, paper: str
) -> None:
    page.goto(f"{live_server.url}/C/{family.juno.number}")

    assert 1 <= page.pdf(format=paper).count(b"/Type /Page\n") <= 2


@pytest.mark.parametrize("width", [320, 768, 1280])
def test_axe_finds_nothing_on_any_kind_of_public_page(
    open_page: OpenPage,
    look: Look,
    live_server: Any,
    club: Club,
    family: Family,
    width: int,
) -> None:
    breed = club.breed.slug
    paths = [
        "/",
        "/find/?q=tarnfold",
        "/find/?q=nobody+at+all",
        f"/dogs/{family.moss.public_id}/",
        f"/dogs/{family.juno.evaluation.dog.public_id}/",
        f"/C/{family.juno.number}",
        "/breeds/",
        f"/breeds/{breed}/",
        f"/breeds/{breed}/hip-laxity/",
        "/help/",
        "/privacy/",
        "/sign-in/",
    ]
    with open_page(viewport={"width": width, "height": 800}) as page:
        for path in paths:
            page.goto(live_server.url + path)
            look_in_both_lights(page, look)
