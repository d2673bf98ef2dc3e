"""A program that repeats itself, or asks twice at the same time, gets one record and one answer.

Requests go through the interface with a real token, eight at a time, each thread with a database
connection of its own.
"""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.core.cache import cache
from django.db import close_old_connections, connections
from django.test import Client

from registry.ledger.verify import verify
from registry.models import Evaluation, LedgerEntry, ReplayKey
from tests.factories import Club, Person, make_body, make_club, make_dog, make_token
from tests.reliability.numbers import counted, times
from tests.reliability.record import What

pytestmark = pytest.mark.django_db(transaction=True)

AT_ONCE = 8
REQUESTS = times(soak=10_000, short=500)
# For each key: the same request eight times at once, then again, then with another body.
EACH = AT_ONCE + 2


class Program:
    """A clinic's program: a token and a body of its own for each key."""

    def __init__(self, club: Club, person: Person) -> None:
        token = make_token(person, by=club.secretary.actor)
        self.headers = {"Authorization": f"Bearer {token}"}

    def send(self, body: dict[str, Any], key: str) -> Any:
        """One request, in whatever thread."""
        return Client().post(
            "/api/v1/evaluations",
            json.dumps(body),
            content_type="application/json",
            headers={**self.headers, "Idempotency-Key": key},
        )


def test_a_repeated_request_is_done_once_and_answered_alike() -> None:
    club = make_club()
    program = Program(club, club.nurse)
    dogs = [make_dog(club) for _ in range(10)]
    barrier = Barrier(AT_ONCE, timeout=60)

    def one_of_eight(body: dict[str, Any], key: str) -> Any:
        barrier.wait()
        try:
            return program.send(body, key)
        finally:
            close_old_connections()

    def leave(_side: int) -> None:
        barrier.wait()
        connections.close_all()

    with counted(What.REPLAYS) as so_far, ThreadPoolExecutor(AT_ONCE) as pool:
        for number in range(REQUESTS // EACH):
            cache.clear()  # The limit on requests a minute is not what is tried here.
            key, before = f"key-{number:06d}", Evaluation.objects.count()
            body = make_body(dogs[number % 10], left=f"0.{20 + number % 50}")

            at_once = list(pool.map(lambda _n: one_of_eight(body, key), range(AT_ONCE)))  # noqa: B023
            later = program.send(body, key)
            other = program.send({**body, "examiner": "Dr. Somebody Else"}, key)

            assert {answer.status_code for answer in [*at_once, later]} == {201}
            assert len({answer.content for answer in [*at_once, later]}) == 1
            assert other.status_code == 422
            assert Evaluation.objects.count() == before + 1
            so_far.done += EACH
        list(pool.map(leave, range(AT_ONCE)))

    rounds = REQUESTS // EACH
    assert Evaluation.objects.count() == rounds
    assert ReplayKey.objects.count() == rounds
    assert LedgerEntry.objects.filter(action="evaluation.submitted").count() == rounds
    assert verify().is_whole
