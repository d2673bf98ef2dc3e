"""One network cannot use the public pages up, and printed codes are answered whatever it does."""

from __future__ import annotations

import random
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client, RequestFactory
from pytest_django import Settings

from registry.callers import network_of
from registry.science.numbers import make_number
from registry.web.buyer import budget
from registry.web.buyer.budget import Budget, TooOftenError
from tests.courses import make_course
from tests.factories import Club, make_accepted, make_dog

HERE, ELSEWHERE = "198.51.100.7", "203.0.113.9"
UNKNOWN = make_number(lambda below: below - 1)


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch, clock: Clock) -> Budget:
    """Two asks at once, one more each hour."""
    small = Budget(3, clock)
    monkeypatch.setattr(budget, "BUDGET", small)
    return small


def may_ask(of: Budget, network: str = HERE) -> bool:
    try:
        of.take(network)
    except TooOftenError:
        return False
    return True


class TestABudget:
    def test_two_thirds_at_once_and_the_rest_by_and_by(self, clock: Clock) -> None:
        kept = Budget(600, clock)

        at_once = sum(may_ask(kept) for _ in range(1000))
        clock.now += 3600
        later = sum(may_ask(kept) for _ in range(1000))

        assert (at_once, later) == (400, 200)

    def test_no_hour_of_a_day_of_asking_holds_more(self, clock: Clock) -> None:
        kept, answered = Budget(600, clock), []
        waits = random.Random(1)

        while clock.now < 24 * 3600:
            clock.now += waits.choice((0, 0.5, 1, 1, 2, 40 * waits.random()))
            if may_ask(kept):
                answered.append(clock.now)

        most = max(
            sum(start <= each < start + 3600 for each in answered) for start in answered[::25]
        )
        assert 200 < most <= 600

    def test_it_says_when_to_come_again(self, clock: Clock) -> None:
        kept = Budget(3, clock)
        kept.take(HERE)
        kept.take(HERE)

        with pytest.raises(TooOftenError) as problem:
            kept.take(HERE)
        clock.now += problem.value.seconds

        assert problem.value.seconds == 3600
        assert may_ask(kept)

    def test_others_are_not_held_up(self, clock: Clock) -> None:
        kept = Budget(3, clock)

        assert [may_ask(kept) for _ in range(3)] == [True, True, False]
        assert may_ask(kept, ELSEWHERE)

    def test_threads_share_it(self, clock: Clock) -> None:
        kept = Budget(600, clock)

        with ThreadPoolExecutor(8) as pool:
            answered = sum(pool.map(lambda _: may_ask(kept), range(2000)))

        assert answered == 400

    def test_its_memory_is_bounded(self, clock: Clock) -> None:
        kept = Budget(3, clock)
        kept.take(HERE)
        kept.take(HERE)

        for number in range(budget._MOST_NETWORKS):
            kept.take(str(number))

        assert len(kept._left) == budget._MOST_NETWORKS
        assert may_ask(kept)


class TestTheNetwork:
    @pytest.mark.parametrize(
        ("address", "network"),
        [
            ("198.51.100.7", "198.51.100.7"),
            ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::"),
            ("::ffff:198.51.100.7", "198.51.100.7"),
            ("", ""),
            ("unix:", "unix:"),
        ],
    )
    def test_a_household_is_one(self, address: str, network: str) -> None:
        assert network_of(RequestFactory().get("/", REMOTE_ADDR=address)) == network

    @pytest.mark.parametrize(
        ("is_trusted", "network"), [(False, "198.51.100.7"), (True, "203.0.113.9")]
    )
    def test_only_a_trusted_proxy_says_who_asks(
        self, is_trusted: bool, network: str, settings: Settings
    ) -> None:
        settings.TRUST_PROXY = is_trusted
        headers = {"X-Forwarded-For": "192.0.2.1, 203.0.113.9"}

        asked = RequestFactory().get("/", REMOTE_ADDR=HERE, headers=headers)

        assert network_of(asked) == network


def spend(client: Client) -> None:
    """Look two numbers up that are not there."""
    for _ in range(2):
        assert client.get(f"/C/{UNKNOWN}").status_code == 404


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(1, "1 second"), (36, "36 seconds"), (120, "2 minutes"), (121, "3 minutes")],
)
def test_a_wait_is_told_in_words(seconds: int, words: str) -> None:
    assert budget._wait_words(seconds) == words


@pytest.mark.django_db
class TestThePages:
    def test_numbers_are_not_tried_without_end(self, small: Budget, club: Club) -> None:
        client = Client(REMOTE_ADDR=HERE)
        spend(client)

        late = client.get(f"/C/{UNKNOWN}")

        assert late.status_code == 429
        assert late["Retry-After"] == "3600"
        assert "Too many look-ups" in late.text
        assert "Wait 60 minutes, then" in late.text
        assert client.get("/C/NONSENSE").status_code == 429
        assert Client(REMOTE_ADDR=ELSEWHERE).get(f"/C/{UNKNOWN}").status_code == 404

    def test_a_certificate_that_is_there_is_always_shown(self, small: Budget, club: Club) -> None:
        number = make_accepted(club).number
        client = Client(REMOTE_ADDR=HERE)
        spend(client)

        seen = client.get(f"/find/?q={number}", follow=True)

        assert seen.status_code == 200
        assert number[:5] in seen.text
        assert client.get("/").status_code == 200
        assert client.get("/breeds/").status_code == 200

    def test_after_a_while_it_answers_again(self, small: Budget, clock: Clock, club: Club) -> None:
        client = Client(REMOTE_ADDR=HERE)
        spend(client)
        clock.now += 3600

        assert client.get("/find/?q=Alder").status_code == 200

    def test_what_costs_work_is_counted(self, small: Budget, club: Club) -> None:
        number, run = make_accepted(club).number, make_course(club)
        one, other = make_dog(club).public_id, make_dog(club).public_id
        trait = f"/breeds/{run.breed.slug}/hip-laxity"
        client = Client(REMOTE_ADDR=HERE)
        spend(client)
        costly = [
            "/find/?q=Alder",
            "/breeding/?q=Alder",
            f"/C/{number}.pdf",
            f"/C/{number}.json",
            f"{trait}/explore/",
            f"{trait}/ahead/",
            f"/dogs/{one}/mates/",
            f"/dogs/{one}/mates/{other}/",
            f"/dogs/{one}/pairs/?mate={other}",
            f"/dogs/{one}/litter/",
        ]

        answers = {path: client.get(path).status_code for path in costly}

        assert answers == dict.fromkeys(costly, 429)
        file = SimpleUploadedFile("a.json", b"{}")
        assert client.post("/check/", {"file": file}).status_code == 429
        assert client.get("/check/").status_code == 200

    def test_the_interface_counts_a_household_as_one(self, club: Club) -> None:
        statuses = [
            Client(REMOTE_ADDR=f"2001:db8::{number:x}").get("/api/v1/breeds").status_code
            for number in range(602)
        ]

        assert statuses == [200] * 600 + [429] * 2
