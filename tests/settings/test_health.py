"""The health answer is short, open to all, and honest about the database."""

from time import perf_counter

import pytest
from django.db import OperationalError, connection
from django.test import Client
from pytest_django import DjangoAssertNumQueries


@pytest.mark.django_db
def test_it_says_ok_to_anybody(client: Client) -> None:
    response = client.get("/healthz")

    assert response.status_code == 200
    assert response.content == b"ok\n"
    assert "no-store" in response["Cache-Control"]
    assert response.cookies == {}


@pytest.mark.django_db
def test_it_asks_the_database_one_question(
    client: Client, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(1):
        client.get("/healthz")


@pytest.mark.django_db
def test_a_hundred_answers_take_no_time_worth_telling(client: Client) -> None:
    client.get("/healthz")
    begun = perf_counter()

    for _ in range(100):
        client.get("/healthz")

    # Ten times what a busy computer needs.
    assert perf_counter() - begun < 10


def test_it_says_503_when_the_database_does_not_answer(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def silent() -> None:
        raise OperationalError("connection refused on a host nobody may know")

    monkeypatch.setattr(connection, "cursor", silent)

    response = client.get("/healthz")

    assert response.status_code == 503
    assert b"nobody may know" not in response.content


def test_it_takes_no_post(client: Client) -> None:
    assert client.post("/healthz").status_code == 405
