"""Guessing at a password: few guesses are tried, and the owner gets in all the same."""

from __future__ import annotations

import re
import time

import pytest
from django.contrib.auth import get_user_model
from django.core import mail as sent
from django.core.cache import cache
from django.test import Client

from registry.desk.mail import deliver_waiting
from tests.factories import PASSWORD, Club, make_club
from tests.reliability.numbers import counted, times
from tests.reliability.record import What

pytestmark = pytest.mark.django_db

NEW = "a loud hill of 40 terriers"
GUESSES = times(soak=10_000, short=300)


@pytest.fixture
def club() -> Club:
    cache.clear()
    return make_club()


class Tried:
    """How many guesses reached the password itself."""

    count = 0


@pytest.fixture
def tried(monkeypatch: pytest.MonkeyPatch) -> Tried:
    User = get_user_model()  # noqa: N806
    real = User.check_password
    count = Tried()

    def check(self: object, raw: str) -> bool:
        count.count += 1
        return bool(real(self, raw))  # type: ignore[arg-type]

    monkeypatch.setattr(User, "check_password", check)
    return count


def guess(login: str, number: int, password: str) -> int:
    address = f"198.51.{number // 250 % 100}.{number % 250 + 1}"
    answer = Client(REMOTE_ADDR=address).post("/sign-in/", {"login": login, "password": password})
    return answer.status_code


def test_guesses_from_many_addresses_are_not_tried(
    club: Club, tried: Tried, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One account, a thousand addresses, thirty days: NIST SP 800-63B-4 allows 100 in a row."""
    began = time.time()
    with counted(What.GUESSES) as count:
        for number in range(GUESSES):
            at = began + number * 30 * 86_400 / GUESSES
            monkeypatch.setattr("time.time", lambda at=at: at)
            assert guess(club.nurse.login, number, f"a guess of number {number}") == 422
            count.done += 1

        assert 5 <= tried.count <= 100


def test_the_right_password_is_refused_then_and_the_page_says_what_to_do(club: Club) -> None:
    for number in range(6):
        guess(club.nurse.login, number, "not the password at all")

    answer = Client().post("/sign-in/", {"login": club.nurse.login, "password": PASSWORD})

    page = answer.content.decode()
    assert answer.status_code == 422
    assert "use a passkey" in page
    assert "Forgotten your password?" in page


def test_the_owner_gets_past_by_the_link_in_their_mail(club: Club) -> None:
    for number in range(6):
        guess(club.nurse.login, number, "not the password at all")
    client = Client()

    client.post("/sign-in/forgotten/", {"asked": club.nurse.login})
    deliver_waiting()
    link = re.search(r"http://\S+(/welcome/\S+)", str(sent.outbox[-1].body))
    assert link is not None
    client.post(link[1], {"password": NEW})
    answer = client.post("/sign-in/", {"login": club.nurse.login, "password": NEW}, follow=True)

    assert answer.redirect_chain[-1][0] == "/clinic/"


def test_the_owner_gets_in_with_a_browser_used_before(club: Club) -> None:
    own = Client()
    own.post("/sign-in/", {"login": club.nurse.login, "password": PASSWORD})
    own.post("/sign-out/")
    for number in range(20):
        guess(club.nurse.login, number, "not the password at all")

    elsewhere = Client().post("/sign-in/", {"login": club.nurse.login, "password": PASSWORD})
    here = own.post("/sign-in/", {"login": club.nurse.login, "password": PASSWORD})

    assert elsewhere.status_code == 422
    assert here.status_code == 302


def test_such_a_browser_may_guess_no_more_than_others(club: Club, tried: Tried) -> None:
    own = Client()
    own.post("/sign-in/", {"login": club.nurse.login, "password": PASSWORD})
    own.post("/sign-out/")
    before = tried.count

    for number in range(12):
        own.post("/sign-in/", {"login": club.nurse.login, "password": f"a guess {number}"})

    assert tried.count - before == 5


@pytest.mark.parametrize("cookie", ["forged", "of another person", "cut"])
def test_a_cookie_that_is_not_of_this_person_counts_for_nothing(club: Club, cookie: str) -> None:
    theirs = Client()
    theirs.post("/sign-in/", {"login": club.other_nurse.login, "password": PASSWORD})
    kept = theirs.cookies["device"].value
    for number in range(6):
        guess(club.nurse.login, number, "not the password at all")
    client = Client()
    client.cookies["device"] = {"forged": "x:y:z", "of another person": kept, "cut": kept[:-3]}[
        cookie
    ]

    answer = client.post("/sign-in/", {"login": club.nurse.login, "password": PASSWORD})

    assert answer.status_code == 422


def test_others_sign_in_meanwhile(club: Club) -> None:
    for number in range(6):
        guess(club.nurse.login, number, "not the password at all")

    answer = Client().post("/sign-in/", {"login": club.other_nurse.login, "password": PASSWORD})

    assert answer.status_code == 302


def test_other_letters_of_the_login_are_the_same_account(club: Club, tried: Tried) -> None:
    login = club.nurse.login
    for number, spelled in enumerate([login, login.upper(), f" {login} ", login.title()] * 3):
        guess(spelled, number, "not the password at all")

    assert tried.count <= 5


def test_asking_for_links_is_limited_and_says_nothing_of_who_is_known(club: Club) -> None:
    known = [_ask(club.nurse.login) for _four_times in range(4)]
    unknown = [_ask("nobody") for _four_times in range(4)]

    assert known == unknown == [302, 302, 302, 429]


def _ask(login: str) -> int:
    return Client().post("/sign-in/forgotten/", {"asked": login}).status_code
