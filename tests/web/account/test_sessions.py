"""Sessions: the list, ending them, and what happens to one that was left alone."""

from __future__ import annotations

import time

import pytest
from django.conf import settings
from django.test import Client

from registry.models import Breed, LedgerEntry
from registry.web.account.sessions import browser_of
from tests.factories import PASSWORD, Club, make_club
from tests.signing_in import sign_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def is_in(client: Client) -> bool:
    return client.get("/account/").status_code == 200


class TestTheList:
    def test_it_names_each_browser_and_which_is_this_one(self, club: Club) -> None:
        here = Client(headers={"User-Agent": "Mozilla/5.0 (X11; Linux x86_64) Firefox/140.0"})
        there = Client(headers={"User-Agent": "Mozilla/5.0 (Linux; Android 15) Chrome/143.0"})
        sign_in(here, club.nurse)
        sign_in(there, club.nurse)

        page = here.get("/account/").content.decode()

        assert "Firefox on Linux" in page
        assert "Chrome on Android" in page
        assert page.count("this one") == 1

    def test_signing_out_everywhere_else_keeps_this_one(self, club: Club) -> None:
        here, there = Client(), Client()
        sign_in(here, club.nurse)
        sign_in(there, club.nurse)

        here.post("/account/sessions/end/")

        assert is_in(here)
        assert not is_in(there)
        assert LedgerEntry.objects.latest("seq").action == "user.sessions_ended"

    def test_a_new_password_ends_the_others(self, club: Club) -> None:
        here, there = Client(), Client()
        sign_in(here, club.nurse)
        sign_in(there, club.nurse)

        new = {"current": PASSWORD, "password": "a loud hill of 40 terriers"}
        here.post("/account/password/", new)

        assert is_in(here)
        assert not is_in(there)

    def test_a_new_password_needs_the_one_that_holds(self, club: Club) -> None:
        client = Client()
        sign_in(client, club.nurse)

        new = {"current": "not it at all", "password": "a loud hill of 40 terriers"}
        answer = client.post("/account/password/", new)

        assert "This is not your password." in answer.content.decode()
        club.nurse.user.refresh_from_db()
        assert club.nurse.user.check_password(PASSWORD)

    def test_ending_sessions_asks_who_one_is_and_goes_on(self, club: Club) -> None:
        here, there = Client(), Client()
        here.force_login(club.nurse.user)
        sign_in(there, club.nurse)

        asked = here.post("/account/sessions/end/")
        here.post(asked.headers["Location"], {"password": PASSWORD})

        assert asked.headers["Location"].startswith("/sign-in/again/")
        assert is_in(here)
        assert not is_in(there)

    def test_a_proof_gives_the_session_a_new_key(self, club: Club) -> None:
        client = Client()
        sign_in(client, club.nurse)
        former = client.session.session_key

        client.post("/sign-in/again/?next=/account/", {"password": PASSWORD})

        assert client.session.session_key != former
        assert client.get("/account/").content.decode().count("this one") == 1

    @pytest.mark.parametrize(
        ("said", "words"),
        [
            (
                "Mozilla/5.0 (Windows NT 10.0) Chrome/143.0 Safari/537.36 Edg/143.0",
                "Edge on Windows",
            ),
            ("Mozilla/5.0 (iPhone; CPU) Version/19.0 Safari/605.1", "Safari on iPhone"),
            ("curl/8.5", "another program"),
            ("", "another program"),
        ],
    )
    def test_browsers_in_words(self, said: str, words: str) -> None:
        assert browser_of(said) == words


class TestLeftAlone:
    @pytest.fixture
    def later(self, monkeypatch: pytest.MonkeyPatch) -> object:
        real = time.time

        def move(seconds: float) -> None:
            monkeypatch.setattr("time.time", lambda: real() + seconds)

        return move

    def test_after_half_an_hour_it_asks_who_is_there(self, club: Club, later: object) -> None:
        client = Client()
        sign_in(client, club.nurse)
        client.get("/clinic/")

        later(settings.IDLE_SECONDS + 1)  # type: ignore[operator]
        asked = client.get("/clinic/?page=2")
        back = client.post(asked.headers["Location"], {"password": PASSWORD})

        assert asked.headers["Location"] == "/sign-in/again/?next=%2Fclinic%2F%3Fpage%3D2"
        assert back.headers["Location"] == "/clinic/?page=2"
        assert client.get("/clinic/").status_code == 200

    def test_somebody_who_works_is_not_asked(self, club: Club, later: object) -> None:
        client = Client()
        sign_in(client, club.nurse)

        for minutes in range(0, 120, 20):
            later(minutes * 60)  # type: ignore[operator]
            assert client.get("/clinic/").status_code == 200, minutes

    def test_what_was_typed_is_kept_and_done_afterwards(self, club: Club, later: object) -> None:
        client = Client()
        sign_in(client, club.secretary)
        client.get("/secretary/")

        later(settings.IDLE_SECONDS + 1)  # type: ignore[operator]
        asked = client.post(
            "/secretary/breeds/new/", {"name": "Fell Pointer", "window_months": "96"}
        )
        assert not Breed.objects.filter(slug="fell-pointer").exists()
        client.post(asked.headers["Location"], {"password": PASSWORD})

        assert Breed.objects.filter(slug="fell-pointer").exists()

    def test_a_new_password_is_not_kept_meanwhile(self, club: Club, later: object) -> None:
        client = Client()
        sign_in(client, club.nurse)
        client.get("/account/")
        new = {"current": PASSWORD, "password": "a loud hill of 40 terriers"}

        later(settings.IDLE_SECONDS + 1)  # type: ignore[operator]
        asked = client.post("/account/password/", new)
        kept = str(dict(client.session.items()))

        assert asked.headers["Location"].startswith("/sign-in/again/?next=/account/password/")
        assert "terriers" not in kept

    def test_after_twelve_hours_it_ends(self, club: Club, later: object) -> None:
        client = Client()
        sign_in(client, club.nurse)
        for minutes in range(0, 701, 20):
            later(minutes * 60)  # type: ignore[operator]
            last = client.get("/clinic/").status_code
        later(12 * 3600 + 120)  # type: ignore[operator]

        assert last == 200
        assert client.get("/clinic/").headers["Location"].startswith("/sign-in/?next=")
