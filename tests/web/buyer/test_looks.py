"""The buyer's pages in a browser: axe finds nothing, nothing scrolls sideways, two sheets print."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from registry.models import Certificate
from tests import factories
from tests.browser import OpenPage, Problems

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def paths(transactional_db: None) -> dict[str, str]:
    """A club with a comparable certificate; the paths of its pages."""
    club = factories.make_club()
    for step in range(24):
        factories.make_accepted(club, left=f"0.{20 + step}", right=f"0.{24 + step}")
    dog = factories.make_dog(club, name="Tarnfold Juno", call_name="Juno")
    certificate: Certificate = factories.make_accepted(club, dog)
    return {
        "look-up": "/",
        "certificate": f"/C/{certificate.number}",
        "dog": f"/dogs/{dog.public_id}/",
        "found": "/find/?q=tarnfold",
        "help": "/help/",
        "privacy": "/privacy/",
        "breeds": "/breeds/",
        "breed": f"/breeds/{club.breed.slug}/",
        "distribution": f"/breeds/{club.breed.slug}/hip-laxity/",
    }


def _is_no_svg_text(problem: str) -> bool:
    """Axe cannot measure the contrast of text inside a drawing; the charts' tests do."""
    return not (problem.startswith("incomplete: color-contrast") and "<text" in problem)


@pytest.mark.parametrize("width", [320, 768, 1280])
def test_axe_finds_nothing_and_nothing_scrolls_sideways(
    open_page: OpenPage, axe_problems: Problems, live_server: Any, paths: dict[str, str], width: int
) -> None:
    found: dict[str, list[str]] = {}
    wide: list[str] = []
    with open_page(viewport={"width": width, "height": 800}) as page:
        for name, path in paths.items():
            page.goto(live_server.url + path)
            found[name] = [each for each in axe_problems(page) if _is_no_svg_text(each)]
            if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
                wide.append(name)

    assert {name: problems for name, problems in found.items() if problems} == {}
    assert wide == []


def test_verdict_dog_and_day_are_on_the_first_screen_of_a_phone(
    phone: Page, live_server: Any, paths: dict[str, str]
) -> None:
    phone.goto(live_server.url + paths["certificate"])

    lowest = phone.evaluate("document.querySelector('.whose').getBoundingClientRect().bottom")
    picture = phone.evaluate("document.querySelector('svg.heap').getBoundingClientRect().top")

    assert lowest <= 568
    assert picture > lowest


def test_every_target_is_large_enough_for_a_thumb(
    phone: Page, live_server: Any, paths: dict[str, str]
) -> None:
    small: list[str] = []
    for path in paths.values():
        phone.goto(live_server.url + path)
        small += phone.evaluate(_TARGETS_BELOW_44)

    assert small == []


_TARGETS_BELOW_44 = """() => [...document.querySelectorAll('a, button, summary, input')]
  .map(e => [e, e.getBoundingClientRect()])
  .filter(([e, r]) => r.width > 1 && !e.matches('.skip, [type=hidden]')
    && (r.height < 44 || r.width < 44))
  .map(([e, r]) => `${location.pathname} ${e.outerHTML.slice(0, 70)} ${r.width}x${r.height}`)"""


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_certificates_page_prints_on_two_sheets_at_most(
    page: Page, live_server: Any, paths: dict[str, str], paper: str
) -> None:
    page.goto(live_server.url + paths["certificate"])

    pdf = page.pdf(format=paper)

    assert 1 <= pdf.count(b"/Type /Page\n") <= 2


def test_a_first_visit_weighs_at_most_forty_kilobytes_in_four_requests(
    phone: Page, live_server: Any, paths: dict[str, str]
) -> None:
    sizes: list[int] = []
    phone.on("response", lambda response: sizes.append(len(response.body())))

    phone.goto(live_server.url + paths["certificate"])
    phone.wait_for_load_state("networkidle")

    assert len(sizes) <= 4
    # Uncompressed, as the test's server sends it: compressed it is a third.
    assert sum(sizes) <= 3 * 40 * 1024
