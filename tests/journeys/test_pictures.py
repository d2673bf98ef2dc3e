"""The pictures of the README, taken on a journey.

`SOUNDLINE_PICTURES=fixtures/pictures` makes the test keep them there; without it they are taken all
the same, held to their weight, and thrown away.
"""

from __future__ import annotations

import os
import random
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from playwright.sync_api import Page, ViewportSize

from registry.demo.pictures import Picture
from registry.models import Draft, Evaluation
from tests import factories
from tests.browser import DESK, OpenPage
from tests.factories import Club, Person
from tests.journeys.club import Family, make_family, make_strangers
from tests.web.clinic import desk

pytestmark = pytest.mark.django_db(transaction=True)

HEAVIEST = 150 * 1024
Take = Callable[[Page, str], None]


@pytest.fixture(autouse=True)
def _same_numbers_each_time(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    """Numbers are random; those in a picture of the README should stay."""
    monkeypatch.setattr(secrets, "randbelow", random.Random(11).randrange)
    settings.SITE_URL = "https://register.tarnvalley.example"


@pytest.fixture
def take(tmp_path: Path) -> Take:
    """Return a function that takes a picture of what the screen shows."""
    folder = Path(os.environ.get("SOUNDLINE_PICTURES") or tmp_path)
    folder.mkdir(parents=True, exist_ok=True)

    def taken(page: Page, name: str) -> None:
        page.evaluate("document.fonts.ready")
        picture = page.screenshot(path=folder / f"{name}.png", animations="disabled")
        assert 5 * 1024 < len(picture) <= HEAVIEST

    return taken


def test_the_public_pages_are_pictured(
    open_page: OpenPage, live_server: Any, club: Club, take: Take
) -> None:
    make_strangers(club, 54)
    family = make_family(club)
    with open_page(
        viewport={"width": 390, "height": 844}, device_scale_factor=1.25, reduced_motion="reduce"
    ) as phone:
        phone.goto(f"{live_server.url}/C/{family.juno.number}")
        take(phone, "certificate")
        phone.locator("section:has(svg.heap) h2").first.evaluate("e => e.scrollIntoView()")
        take(phone, "meaning")
    with open_page(viewport={"width": 1000, "height": 760}) as page:
        page.goto(f"{live_server.url}/breeds/{club.breed.slug}/hip-laxity/")
        take(page, "distribution")


def test_the_staffs_pages_are_pictured(
    open_page: OpenPage,
    sign_in: Callable[[Page, Person], None],
    live_server: Any,
    club: Club,
    take: Take,
) -> None:
    make_strangers(club)
    family = make_family(club)
    draft = _ready_to_send(club, family)
    narrow: ViewportSize = {"width": 1000, "height": 900}
    with open_page(viewport=narrow, reduced_motion="reduce") as page:
        sign_in(page, club.nurse)
        page.goto(live_server.url + desk.at("check", draft))
        page.get_by_role("heading", name="Measurements").evaluate("e => e.scrollIntoView()")
        take(page, "clinic")
        page.get_by_role("button", name="Send result to the club").click()
        page.get_by_role("heading", name="Sent to the club").wait_for()
    evaluation = Evaluation.objects.latest("submitted_at")
    assert evaluation.dog.sire == family.sire.evaluation.dog
    with open_page(viewport=DESK) as page:
        sign_in(page, club.registrar)
        page.goto(f"{live_server.url}/registrar/results/{evaluation.public_id}/")
        page.locator("img").first.wait_for()
        take(page, "registrar")


def _ready_to_send(club: Club, family: Family) -> Draft:
    """A litter mate's answers with a film, the two sides unusually far apart."""
    parents: dict[str, Any] = {
        "sire": family.sire.evaluation.dog.public_id,
        "dam": family.dam.evaluation.dog.public_id,
    }
    dog = factories.make_dog(club, name="Tarnfold Bramble", chip="276098106234581", **parents)
    draft = desk.started(club.nurse, dog)
    nurse = desk.signed_in(club.nurse)
    desk.fill(nurse, draft)
    apart = {"hip-laxity-left-value": "0.29", "hip-laxity-right-value": "0.58"}
    desk.keep(nurse, draft, "measurements", **apart)
    film = Picture("png", 7, 0.29, 0.58)
    file = SimpleUploadedFile(film.name, film.content(), content_type="image/png")
    nurse.post(desk.at("files", draft), {"file": file})
    return draft
