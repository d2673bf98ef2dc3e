"""A request sent again is done once."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from registry.models import Evaluation, LedgerEntry
from tests.api.conftest import Callers
from tests.factories import make_body, make_dog, make_submitted


def test_the_same_key_and_body_twenty_times_is_one_record(callers: Callers) -> None:
    body = make_body(make_dog(callers.club))

    answers = [callers.clinic.send("evaluations", body, Idempotency_Key="once") for _ in range(20)]

    assert Evaluation.objects.count() == 1
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.content for answer in answers}) == 1
    assert [answer.get("Idempotency-Replayed") for answer in answers] == [None] + ["true"] * 19


def test_the_order_of_members_is_no_other_body(callers: Callers) -> None:
    body = make_body(make_dog(callers.club))
    turned = dict(reversed(list(body.items())))

    callers.clinic.send("evaluations", body, Idempotency_Key="once")
    again = callers.clinic.send("evaluations", turned, Idempotency_Key="once")

    assert again["Idempotency-Replayed"] == "true"


def test_the_same_key_with_another_body_is_refused(callers: Callers) -> None:
    dog = make_dog(callers.club)
    callers.clinic.send("evaluations", make_body(dog), Idempotency_Key="once")

    other = callers.clinic.send("evaluations", make_body(dog, left="0.40"), Idempotency_Key="once")

    assert other.status_code == 422
    assert other.json()["type"].endswith("#key-reused")
    assert Evaluation.objects.count() == 1


def test_another_token_may_use_the_same_key(callers: Callers) -> None:
    body = make_body(make_dog(callers.club))

    first = callers.clinic.send("evaluations", body, Idempotency_Key="once")
    second = callers.other_clinic.send("evaluations", body, Idempotency_Key="once")

    assert first.json()["id"] != second.json()["id"]


def test_a_refused_request_may_use_its_key_again(callers: Callers) -> None:
    body = make_body(make_dog(callers.club))

    refused = callers.clinic.send("evaluations", {**body, "examiner": ""}, Idempotency_Key="once")
    sent = callers.clinic.send("evaluations", body, Idempotency_Key="once")

    assert (refused.status_code, sent.status_code) == (422, 201)


def test_a_decision_sent_again_is_no_conflict(callers: Callers) -> None:
    path = f"evaluations/{make_submitted(callers.club).public_id}/decision"
    accept = {"decision": "accept"}

    first = callers.registrar.send(path, accept, Idempotency_Key="d1")
    again = callers.registrar.send(path, accept, Idempotency_Key="d1")
    without = callers.registrar.send(path, accept)

    assert first.content == again.content
    assert without.status_code == 409
    assert LedgerEntry.objects.filter(action="evaluation.accepted").count() == 1


def test_without_a_key_the_second_is_flagged(callers: Callers) -> None:
    body = make_body(make_dog(callers.club))
    callers.clinic.send("evaluations", body)

    second = callers.clinic.send("evaluations", body)

    assert "possible_duplicate" in [flag["code"] for flag in second.json()["flags"]]


def test_a_file_sent_again_is_one_file(callers: Callers) -> None:
    def send() -> str:
        answer = callers.clinic.client.post(
            "/api/v1/evidence?name=hips.jpg",
            b"\xff\xd8\xff\xe0 film",
            content_type="image/jpeg",
            headers={**callers.clinic.headers, "Idempotency-Key": "f1"},
        )
        return str(answer.json()["id"])

    assert send() == send()


@pytest.mark.requires_postgres
@pytest.mark.django_db(transaction=True)
def test_twenty_at_once_are_one_record(callers: Callers) -> None:
    body = make_body(make_dog(callers.club))

    def send(_number: int) -> tuple[int, bytes]:
        try:
            answer = callers.clinic.send("evaluations", body, Idempotency_Key="at-once")
            return answer.status_code, answer.content
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(send, range(20)))

    assert Evaluation.objects.count() == 1
    assert {status for status, _content in answers} == {201}
    assert len(set(answers)) == 1
