"""Somebody who asks where the breed is going: the course, and what keeping the best would cost."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.browser import OpenPage
from tests.courses import make_course
from tests.factories import Club
from tests.journeys.conftest import Look, look_in_both_lights

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def course(club: Club, live_server: Any) -> str:
    """The address of a breed's course."""
    make_course(club)
    return f"{live_server.url}/breeds/{club.breed.slug}/hip-laxity/course/"


def test_the_course_is_drawn_and_leads_to_a_look_ahead_by_keyboard(
    page: Page, look: Look, course: str
) -> None:
    page.goto(course)
    _are_drawn(page, 2)
    look_in_both_lights(page, look)

    page.get_by_role("link", name="What would the choice of parents bring?").focus()
    page.keyboard.press("Enter")
    page.get_by_label("Males that have puppies").fill("5")
    page.keyboard.press("Enter")

    page.wait_for_url("**sires=5**")
    assert page.locator("p.lead").count() == 2
    _are_drawn(page, 1)
    look_in_both_lights(page, look)


def test_without_script_all_numbers_and_the_form_are_there(scriptless: Page, course: str) -> None:
    scriptless.goto(course)
    for details in scriptless.locator("section details").all():
        details.locator("summary").click()
        assert details.locator("tbody tr").count() == 10
        assert details.locator("tbody th").first.inner_text() == "2016"
    assert scriptless.get_by_text("The numbers are in the table below.").count() == 2

    scriptless.goto(course.replace("/course/", "/ahead/"))
    scriptless.get_by_label("Generations").fill("3")
    scriptless.get_by_role("button", name="Look ahead").click()

    assert "After 3 generations" in scriptless.locator("p.lead").first.inner_text()
    scriptless.locator("section summary").click()
    assert scriptless.locator("section tbody tr").count() == 4


def test_a_phone_shows_both_pages_without_scrolling_sideways(
    open_page: OpenPage, look: Look, course: str
) -> None:
    with open_page(viewport={"width": 320, "height": 568}) as phone:
        for address, figures in ((course, 2), (course.replace("/course/", "/ahead/"), 1)):
            phone.goto(address)
            _are_drawn(phone, figures)
            look(phone)


def _are_drawn(page: Page, figures: int) -> None:
    places = page.locator("[data-figure]")
    assert places.count() == figures
    for place in places.all():
        place.scroll_into_view_if_needed()
        place.locator("svg.main-svg").first.wait_for()


def test_on_paper_a_picture_is_whole_and_on_the_screen_as_before(page: Page, course: str) -> None:
    page.goto(course)
    _are_drawn(page, 2)
    place = page.locator("[data-figure]").first
    before = place.bounding_box()
    assert before is not None and before["width"] > 700

    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    drawing = place.locator("svg.main-svg").first.bounding_box()
    paper = place.bounding_box()
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")

    assert drawing is not None and paper is not None
    # The narrower of A4 and letter, less margins of 15 mm.
    assert drawing["width"] <= 680
    assert paper["height"] >= drawing["height"] - 1
    assert place.bounding_box() == before
