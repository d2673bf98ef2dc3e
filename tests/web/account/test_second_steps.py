"""The second step: who must have one, how it is set up, and that a code works once."""

from __future__ import annotations

import re
import time

import pytest
from allauth.mfa.models import Authenticator
from django.core.cache import cache
from django.test import Client

from registry.models import Breed, LedgerEntry, OutboxMail
from registry.queries.second_steps import lacks_second_step, people_without
from tests.factories import PASSWORD, Club, Person, make_club
from tests.signing_in import STEP, code_at, code_now, sign_in

pytestmark = pytest.mark.django_db

CODE = "/sign-in/code/"


@pytest.fixture
def club() -> Club:
    return make_club()


def with_password(person: Person) -> Client:
    client = Client()
    client.post("/sign-in/", {"login": person.login, "password": PASSWORD})
    return client


def is_in(client: Client) -> bool:
    return client.get("/account/").status_code == 200


class TestWhoMust:
    @pytest.mark.parametrize("who", ["registrar", "secretary"])
    def test_a_password_alone_opens_no_room_of_theirs(self, club: Club, who: str) -> None:
        person = getattr(club, who)
        Authenticator.objects.filter(user=person.user).delete()

        client = with_password(person)
        shown = client.get(f"/{who}/", follow=True)

        assert shown.redirect_chain[-1][0] == "/account/"
        assert "Your role needs a second step" in shown.content.decode()
        assert lacks_second_step(person.user)
        assert list(people_without()) == [person.user]

    def test_nor_does_a_form_that_is_sent_to_it(self, club: Club) -> None:
        Authenticator.objects.filter(user=club.secretary.user).delete()
        client = with_password(club.secretary)

        answer = client.post("/secretary/breeds/new/", {"name": "Fell Pointer"})

        assert answer.headers["Location"] == "/account/"
        assert not Breed.objects.filter(name="Fell Pointer").exists()

    def test_a_clinic_may_do_without(self, club: Club) -> None:
        assert with_password(club.nurse).get("/clinic/").status_code == 200
        assert not lacks_second_step(club.nurse.user)

    def test_recovery_codes_alone_are_no_second_step(self, club: Club) -> None:
        kept = Authenticator.objects.filter(user=club.registrar.user)
        kept.update(type=Authenticator.Type.RECOVERY_CODES, data={"seed": "x", "used_mask": 0})

        assert lacks_second_step(club.registrar.user)


class TestCodes:
    def test_the_password_alone_is_not_signed_in(self, club: Club) -> None:
        client = with_password(club.registrar)

        assert not is_in(client)
        assert client.get("/registrar/").status_code == 302

    def test_the_apps_code_opens(self, club: Club) -> None:
        client = with_password(club.registrar)

        answer = client.post(CODE, {"code": code_now()}, follow=True)

        assert answer.redirect_chain[-1][0] == "/registrar/"

    @pytest.mark.parametrize("steps", [-1, 0, 1])
    def test_a_clock_may_be_one_step_off(self, club: Club, steps: int) -> None:
        client = with_password(club.registrar)
        cache.clear()

        client.post(CODE, {"code": code_at(time.time() + steps * STEP)})

        assert is_in(client)

    @pytest.mark.parametrize("steps", [-4, -3, 3, 4])
    def test_no_more_than_that(self, club: Club, steps: int) -> None:
        client = with_password(club.registrar)
        cache.clear()

        answer = client.post(CODE, {"code": code_at(time.time() + steps * STEP)})

        assert answer.status_code == 422
        assert not is_in(client)

    def test_a_code_works_once_for_as_long_as_it_could_be_right(
        self, club: Club, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        now = time.time()
        code = code_at(now + STEP)
        cache.clear()
        first = with_password(club.registrar)
        first.post(CODE, {"code": code})
        assert is_in(first)

        for later in (0, 31, 59):
            monkeypatch.setattr("time.time", lambda later=later: now + later)
            thief = with_password(club.registrar)
            thief.post(CODE, {"code": code})
            assert not is_in(thief), later

    def test_guesses_are_few(self, club: Club) -> None:
        client = with_password(club.registrar)
        cache.clear()
        right = code_at(time.time())
        wrong = [f"{number:06d}" for number in range(20) if f"{number:06d}" != right]

        said = [client.post(CODE, {"code": each}).content.decode() for each in wrong]

        assert sum("did not fit" in each for each in said) == 5
        assert "too many wrong tries" in client.post(CODE, {"code": right}).content.decode()

    def test_without_a_password_before_it_there_is_no_page(self, club: Club) -> None:
        assert Client().get(CODE).headers["Location"] == "/sign-in/"
        assert Client().post(CODE, {"code": code_now()}).headers["Location"] == "/sign-in/"


class TestTheApp:
    def test_it_is_set_up_with_its_first_code_and_shows_recovery_codes(self, club: Club) -> None:
        client = with_password(club.nurse)
        page = client.get("/account/app/").content.decode()
        key = re.search(r"<code>([A-Z2-7]{32})</code>", page)
        assert key is not None

        done = client.post("/account/app/", {"code": code_now(key[1])}, follow=True)

        shown = done.content.decode()
        codes = re.findall(r"<code>(\d{4}) (\d{4})</code>", shown)
        assert len(codes) == 10
        assert "The app is in use." in shown
        assert LedgerEntry.objects.latest("seq").action == "user.app_added"
        assert OutboxMail.objects.filter(
            kind="sign-in-changed", to_email=club.nurse.user.email
        ).exists()
        assert is_in(client)
        self._each_code_works_once(club.nurse, "".join(codes[3]))

    def _each_code_works_once(self, person: Person, code: str) -> None:
        cache.clear()
        first, second = with_password(person), with_password(person)
        first.post(CODE, {"code": code})
        cache.clear()
        second.post(CODE, {"code": code})

        assert is_in(first)
        assert not is_in(second)

    def test_a_wrong_first_code_sets_up_nothing(self, club: Club) -> None:
        client = with_password(club.nurse)
        client.get("/account/app/")

        answer = client.post("/account/app/", {"code": "12"})

        assert "did not fit" in answer.content.decode()
        assert not Authenticator.objects.filter(user=club.nurse.user).exists()

    def test_it_is_taken_out_of_use_and_the_room_closes(self, club: Club) -> None:
        client = Client()
        sign_in(client, club.registrar)

        client.post("/account/app/remove/")

        assert not Authenticator.objects.filter(user=club.registrar.user).exists()
        assert client.get("/registrar/").headers["Location"] == "/account/"
        assert LedgerEntry.objects.latest("seq").action == "user.app_removed"

    def test_new_recovery_codes_end_the_old_ones(self, club: Club) -> None:
        client = Client()
        sign_in(client, club.registrar)
        client.post("/account/codes/new/")
        one = client.get("/account/codes/").content.decode()

        client.post("/account/codes/new/")
        two = client.get("/account/codes/").content.decode()

        assert set(re.findall(r"\d{4} \d{4}", one)) & set(re.findall(r"\d{4} \d{4}", two)) == set()
        assert LedgerEntry.objects.latest("seq").action == "user.codes_renewed"


class TestAgain:
    @pytest.mark.parametrize(
        "path", ["/account/app/", "/account/passkeys/new/", "/account/codes/new/"]
    )
    def test_a_change_asks_who_one_is(self, club: Club, path: str) -> None:
        client = Client()
        client.force_login(club.nurse.user)

        asked = client.get(path)
        wrong = client.post(asked.headers["Location"], {"password": "not it at all"})
        right = client.post(asked.headers["Location"], {"password": PASSWORD})

        assert asked.headers["Location"].startswith("/sign-in/again/?next=")
        assert "This is not your password." in wrong.content.decode()
        assert right.headers["Location"] == path
        assert client.get(path).status_code == 200
