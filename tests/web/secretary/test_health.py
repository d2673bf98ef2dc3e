"""The page of the registry's health, and the line on the overview that leads there."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from pytest_django import Settings

from registry.desk import upkeep
from tests.factories import Club, Person, make_club

pytestmark = pytest.mark.django_db
AT = "/secretary/health/"


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def page(club: Club) -> Client:
    return signed_in(club.secretary)


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person.user)
    return client


def read(client: Client, path: str = AT) -> str:
    response = client.get(path)
    assert response.status_code == 200
    return response.content.decode()


def test_it_opens_for_the_secretary_alone(club: Club, page: Client) -> None:
    assert page.get(AT).status_code == 200
    assert signed_in(club.registrar).get(AT).status_code == 404
    assert Client().get(AT).status_code == 302


def test_a_fault_stands_first_with_its_remedy(page: Client, settings: Settings) -> None:
    settings.LOG_KEY = "AAAA"

    text = read(page)

    assert text.index("Needs a hand now") < text.index("The public log cannot be signed.")
    assert text.index("The public log cannot be signed.") < text.index("<h2>Advice</h2>")
    assert "Set SOUNDLINE_LOG_KEY to what" in text


def test_what_is_well_is_said_too(page: Client) -> None:
    assert "The database answers." in read(page).partition("<h2>All well</h2>")[2]


def test_levels_are_words_and_not_colours_alone(page: Client) -> None:
    text = read(page)

    assert re.search(r"<span>\d+ things looked at</span>", text)
    assert "<span>Needs a hand</span>" in text


def test_no_verification_runs_for_the_page(page: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def ran(*args: object, **options: object) -> None:
        raise AssertionError("a verification ran in a request")

    monkeypatch.setattr("registry.ledger.verify.verify", ran)
    monkeypatch.setattr("registry.desk.distributions.compare_distributions", ran)
    monkeypatch.setattr("registry.doctor.paper.certificate_pdf", ran)
    upkeep.remember(name=upkeep.LEDGER, ok=False, detail={"damages": 3})

    assert "Last done 0\xa0minutes ago. The ledger was damaged." in read(page)


class TestTheOverview:
    def test_it_says_how_many_things_need_the_secretary(self, club: Club, page: Client) -> None:
        text = read(page, "/secretary/")

        # The machine that runs the test may lack something, too.
        found = re.search(r"(\d+) things need you", text)
        assert found
        assert int(found[1]) >= 3
        assert "No backup has been made yet." in text
        assert "The worker has never made a round." in text
        assert "Too few secretaries (1)" in text
        assert f'href="{AT}"' in text

    def test_it_says_so_when_nothing_does(
        self, page: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("registry.web.secretary.home.examine_quickly", list)

        assert "Nothing needs you now." in read(page, "/secretary/")
