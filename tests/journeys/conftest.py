"""What every journey needs: the club, its family, and pages that are looked at by axe."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

import pytest
from playwright.sync_api import Page

from tests.browser import Problems
from tests.factories import PASSWORD, Club, Person
from tests.journeys.club import Family, make_family, make_named_club, make_strangers
from tests.signing_in import code_now

Look = Callable[[Page], None]


@pytest.fixture
def club(transactional_db: None) -> Club:
    return make_named_club()


@pytest.fixture
def family(club: Club) -> Family:
    """A dog and its parents among enough tested dogs to compare them with."""
    make_strangers(club)
    return make_family(club)


@pytest.fixture
def look(axe_problems: Problems) -> Look:
    """Return a function that fails when axe finds something or the page scrolls sideways."""

    def looked_at(page: Page) -> None:
        scrolls = page.evaluate(_A_TABLE_SCROLLS)
        found = [each for each in axe_problems(page) if not _is_out_of_reach(each, scrolls)]
        assert found == [], page.url
        assert not page.evaluate("document.documentElement.scrollWidth > innerWidth"), page.url

    return looked_at


@pytest.fixture
def sign_in(live_server: Any) -> Callable[[Page, Person], None]:
    """Return a function that signs a person in by keyboard, with the code of their app if they have
    one."""

    def signed_in(page: Page, person: Person) -> None:
        page.goto(f"{live_server.url}/sign-in/")
        page.get_by_label("Login").focus()
        page.keyboard.type(person.login)
        page.keyboard.press("Tab")
        page.keyboard.type(PASSWORD)
        page.keyboard.press("Enter")
        page.wait_for_url(lambda url: not url.endswith("/sign-in/"))
        if page.url.endswith("/sign-in/code/"):
            page.get_by_label("Code").focus()
            page.keyboard.type(code_now())
            page.keyboard.press("Enter")
            page.wait_for_url(lambda url: "/sign-in/" not in url)

    return signed_in


def look_in_both_lights(page: Page, look: Look) -> None:
    """Look at a page as in daylight and as in the dark."""
    schemes: tuple[Literal["light", "dark"], ...] = ("light", "dark")
    for scheme in schemes:
        page.emulate_media(color_scheme=scheme)
        look(page)


# A table too wide for a phone scrolls in a frame of its own that takes the focus.
_A_TABLE_SCROLLS = """() => [...document.querySelectorAll('.scroller')]
  .some(e => e.scrollWidth > e.clientWidth)"""


def _is_out_of_reach(problem: str, table_scrolls: bool) -> bool:
    """Axe cannot measure the contrast of text inside a drawing; the charts' tests do.

    Nor can it measure what is scrolled out of a table's frame; at a width where the whole table is
    seen it does.
    """
    is_open_contrast = problem.startswith("incomplete: color-contrast")
    return is_open_contrast and ("<text" in problem or table_scrolls)
