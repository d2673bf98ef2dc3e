"""The clinic's pages in a browser: axe finds nothing, nothing scrolls sideways, a keyboard is
enough, and a scanner's Enter sends nothing."""

from __future__ import annotations

from typing import Any

import pytest
from django.conf import settings
from playwright.sync_api import Page

from registry.desk import decide
from registry.models import Draft, Evaluation, State
from tests import factories
from tests.browser import OpenPage, Problems
from tests.factories import Club
from tests.keyboard import Keyboard
from tests.web.clinic import desk

pytestmark = pytest.mark.django_db(transaction=True)
CHIP = "276090000123456"
MOST_TABS = 60


@pytest.fixture
def club(transactional_db: None) -> Club:
    return factories.make_club()


def let_in(page: Page, club: Club, address: str) -> None:
    session = desk.signed_in(club.nurse).cookies[settings.SESSION_COOKIE_NAME].value
    page.context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": address}]
    )


def ready_to_scan(page: Page) -> None:
    """Nobody scans before the box is seen to wait; the browser puts the focus there after load."""
    page.locator("#chip:focus").wait_for()


@pytest.fixture
def paths(club: Club) -> dict[str, str]:
    dog = factories.make_dog(club, name="Tarnfold Juno", chip=CHIP)
    sent = factories.make_submitted(club)
    factories.make_accepted(club)
    returned = factories.make_submitted(club, dog)
    decide.return_for_correction(
        by=club.registrar.actor,
        evaluation_id=returned.public_id,
        reason="Measure the right side again.",
        fields=["/readings/1"],
    )
    empty, full = desk.started(club.nurse, dog), desk.started(club.nurse, dog)
    nurse = desk.signed_in(club.nurse)
    desk.fill(nurse, full)
    odd = {"hip-laxity-left-value": "0.20", "hip-laxity-right-value": "0.90"}
    desk.keep(nurse, full, "measurements", **odd)
    nurse.post(desk.at("files", full), {"file": [desk.film("a.png"), desk.film("b.png")]})
    new = "/clinic/results/new/"
    return {
        "home": "/clinic/",
        "identify": new,
        "found": f"{new}?chip={CHIP}",
        "slip": f"{new}?chip=276090000123457",
        "named": f"{new}?chip=tarnfold",
        "register": f"{new}register/",
        "tasks": desk.at("draft", empty),
        **{name: desk.at(name, full) for name in ("examination", "measurements", "owner")},
        **{name: desk.at(name, full) for name in ("files", "check", "discard")},
        "sent": f"/clinic/results/{sent.public_id}/sent/",
        "returned": f"/clinic/results/{returned.public_id}/",
        "withdraw": f"/clinic/results/{sent.public_id}/withdraw/",
    }


@pytest.mark.parametrize("width", [320, 768, 1280])
def test_axe_finds_nothing_and_nothing_scrolls_sideways(
    open_page: OpenPage,
    axe_problems: Problems,
    live_server: Any,
    club: Club,
    paths: dict[str, str],
    width: int,
) -> None:
    found: dict[str, list[str]] = {}
    with open_page(viewport={"width": width, "height": 800}) as page:
        let_in(page, club, live_server.url)
        for name, path in paths.items():
            page.goto(live_server.url + path)
            found[name] = axe_problems(page)
            if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
                found[name].append("scrolls sideways")

    assert {name: problems for name, problems in found.items() if problems} == {}


def test_ten_scans_with_enter_find_ten_dogs_and_send_nothing(
    page: Page, live_server: Any, club: Club
) -> None:
    dogs = [factories.make_dog(club) for _number in range(10)]
    let_in(page, club, live_server.url)

    for dog in dogs:
        page.goto(live_server.url + "/clinic/results/new/")
        ready_to_scan(page)
        page.keyboard.type(dog.chip or "", delay=5)
        page.keyboard.press("Enter")
        page.get_by_role("heading", name="Is this the dog in front of you?").wait_for()
        assert page.get_by_text(dog.name, exact=True).count() == 1

    assert not Draft.objects.exists()
    assert not Evaluation.objects.exists()


def test_a_result_with_one_film_is_sent_by_keyboard_alone(
    page: Page, live_server: Any, club: Club
) -> None:
    factories.make_dog(club, chip=CHIP)
    let_in(page, club, live_server.url)
    page.goto(live_server.url + "/clinic/results/new/")
    keys = Keyboard(page)

    ready_to_scan(page)
    page.keyboard.type(CHIP)
    page.keyboard.press("Enter")
    page.wait_for_url("**chip=**")
    keys.into_main()
    keys.to("main form[method=post] button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/examination/**")
    keys.into_main()
    keys.fill("#id_examined_on", "2 October 2026")
    keys.fill("#id_examiner", "Dr. Vera Oakhollow")
    keys.to("[name=restraint]")
    page.keyboard.press("Space")
    keys.fill("#id_weight_kg", "18,5")
    keys.to("[name=chip_read]")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    page.wait_for_url("**/measurements/**")
    keys.into_main()
    keys.fill("#id_hip-laxity-left-value", "0,31")
    keys.fill("#id_hip-laxity-right-value", "0,35")
    page.keyboard.press("Enter")
    page.wait_for_url("**/owner/**")
    keys.into_main()
    keys.fill("#id_full_name", "Olga Reedmoor")
    keys.fill("#id_email", "olga@owner.example")
    keys.to("[name=consent]")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    page.wait_for_url("**/files/**")
    keys.into_main()
    keys.to("#file")
    # The browser's own dialog is beyond a test; the film is what it would have chosen.
    page.set_input_files(
        "#file", {"name": "hips.png", "mimeType": "image/png", "buffer": b"\x89PNG\r\n\x1a\nx"}
    )
    keys.to("[name=go-on]")
    page.keyboard.press("Enter")
    page.wait_for_url("**/check/**")
    keys.into_main()
    keys.to("main form button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/sent/**")

    evaluation = Evaluation.objects.get()
    assert evaluation.state == State.SUBMITTED
    assert evaluation.evidence.count() == 1
    assert keys.tabs <= MOST_TABS, keys.tabs


def test_a_result_is_sent_without_script(scriptless: Page, live_server: Any, club: Club) -> None:
    dog = factories.make_dog(club, chip=CHIP)
    let_in(scriptless, club, live_server.url)
    scriptless.goto(live_server.url + f"/clinic/results/new/?chip={CHIP}")

    scriptless.get_by_role("button", name="Yes, this is the dog").click()
    scriptless.get_by_label("Day of the examination").fill("2 October 2026")
    scriptless.get_by_label("Veterinarian who examined the dog").fill("Dr. Vera Oakhollow")
    scriptless.get_by_label("By sedation").check()
    scriptless.get_by_label("Yes", exact=True).check()
    scriptless.get_by_role("button", name="Keep and go on").click()
    scriptless.get_by_text("Head radius and displacement instead").first.click()
    scriptless.locator("#id_hip-laxity-left-head_radius_mm").fill("11,2")
    scriptless.locator("#id_hip-laxity-left-displacement_mm").fill("3,9")
    scriptless.get_by_role("button", name="Keep and go on").click()
    scriptless.get_by_text("Hip laxity, right: not read.").wait_for()
    scriptless.get_by_role("button", name="Keep and go on").click()
    scriptless.get_by_label("No, the owner does not agree").check()
    scriptless.get_by_role("button", name="Keep and go on").click()
    scriptless.get_by_role("button", name="Keep and go on").click()
    scriptless.get_by_role("button", name="Send result to the club").click()

    scriptless.get_by_role("heading", name="Sent to the club").wait_for()
    evaluation = Evaluation.objects.get()
    assert evaluation.dog == dog
    assert evaluation.readings.get().value_text == "0.35"
