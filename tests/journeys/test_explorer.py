"""Somebody who wants the breed's numbers over the years: pictures by script, numbers without."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.factories import Club
from tests.journeys.club import Family, make_strangers
from tests.journeys.conftest import Look, look_in_both_lights

pytestmark = pytest.mark.django_db(transaction=True)


def test_every_picture_is_drawn_and_has_its_numbers_below(
    page: Page, look: Look, live_server: Any, club: Club, family: Family
) -> None:
    make_strangers(club, 40)
    page.goto(f"{live_server.url}/breeds/{club.breed.slug}/hip-laxity/")
    page.locator("a[href$='/explore/']").click()

    pictures = page.locator("[data-figure]")
    assert pictures.count() >= 1
    for picture in pictures.all():
        picture.scroll_into_view_if_needed()
        picture.locator("svg.main-svg").first.wait_for()
    _has_its_numbers(page)
    look_in_both_lights(page, look)


def test_without_script_the_numbers_are_there_and_nothing_promises_a_picture(
    scriptless: Page, live_server: Any, club: Club, family: Family
) -> None:
    make_strangers(club, 40)
    scriptless.goto(f"{live_server.url}/breeds/{club.breed.slug}/hip-laxity/explore/")

    words = scriptless.get_by_text("The numbers are in the table below.")
    assert words.count() == scriptless.locator("[data-figure]").count() >= 1
    _has_its_numbers(scriptless)


def _has_its_numbers(page: Page) -> None:
    for details in page.locator("main section details:has(table)").all():
        details.locator("summary").click()
        assert details.locator("tbody tr").first.is_visible()
        assert details.locator("tbody tr td").first.inner_text().strip().isdigit()
