"""Every refusal is a problem document, and none says more than it must."""

from __future__ import annotations

from typing import Any

import pytest

from api.throttles import AddressThrottle
from registry.desk.people import revoke_token
from registry.models import ApiToken
from tests.api.conftest import Caller, Callers
from tests.factories import make_body, make_dog, make_submitted, make_token

HUGE = "[" + "1" * (300 * 1024) + "]"


@pytest.mark.parametrize(
    ("path", "method", "body", "headers", "status"),
    [
        ("nothing-here", "GET", "", {}, 404),
        ("evaluations/", "GET", "", {}, 404),
        ("dogs", "DELETE", "", {}, 405),
        ("dogs", "OPTIONS", "", {}, 405),
        ("dogs", "TRACE", "", {}, 405),
        ("dogs", "GET", "", {"Accept": "text/html"}, 406),
        ("dogs", "POST", "{", {}, 400),
        ("dogs", "POST", '{"a": 1, "a": 2}', {}, 400),
        ("dogs", "POST", '{"name": "\\u0000"}', {}, 400),
        ("dogs", "POST", '{"name": "\\ud800"}', {}, 400),
        ("dogs", "POST", '{"name": ["\\u0000"]}', {}, 400),
        ("dogs", "POST", '{"a": NaN}', {}, 400),
        ("dogs", "POST", "[" * 100_000, {}, 400),
        ("dogs", "POST", HUGE, {}, 413),
        ("dogs", "POST", "[]", {}, 422),
        ("dogs", "POST", "{}", {"Idempotency_Key": "ä"}, 400),
        ("dogs?colour=red", "GET", "", {}, 400),
        ("dogs?q=a&q=b", "GET", "", {}, 400),
        ("dogs?q=%00", "GET", "", {}, 400),
        ("dogs?q=wren&limit=true", "GET", "", {}, 400),
        ("dogs?q=wren&cursor=YWZ0ZXI6MQ", "GET", "", {}, 400),
        ("dogs?cursor=zzz", "GET", "", {}, 400),
        ("dogs?limit=99999999999999999999", "GET", "", {}, 400),
        ("dogs?chip=12", "GET", "", {}, 400),
        ("queue", "GET", "", {}, 403),
    ],
)  # fmt: skip
def test_it_is_a_problem_document(
    path: str, method: str, body: str, headers: dict[str, str], status: int, callers: Callers
) -> None:
    answer = callers.clinic.send(path, body, method, **headers)

    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["status"] == status
    assert answer.json()["detail"]


@pytest.mark.parametrize(
    ("path", "method", "headers", "told"),
    [
        ("dogs", "DELETE", {}, "This address takes GET, POST, HEAD."),
        ("dogs", "OPTIONS", {}, "This address takes GET, POST, HEAD."),
        ("dogs", "GET", {"Accept": "application/xml"}, "answers in application/json."),
        ("dogs", "POST", {}, "Send one JSON value in UTF-8, with each name once."),
    ],
)  # fmt: skip
def test_a_refusal_says_how_to_ask(
    path: str, method: str, headers: dict[str, str], told: str, callers: Callers
) -> None:
    answer = callers.clinic.send(path, '{"a": 1, "a": 2}', method, **headers)

    assert told in answer.json()["detail"]


def test_allow_names_only_what_is_answered(callers: Callers) -> None:
    answer = callers.clinic.send("dogs", "", "OPTIONS")

    assert answer.status_code == 405
    assert answer["Allow"] == "GET, POST, HEAD"


def test_another_kind_of_body_is_refused(callers: Callers) -> None:
    answer = callers.clinic.client.post("/api/v1/dogs", {"a": "b"}, headers=callers.clinic.headers)

    assert answer.status_code == 415
    assert answer["Content-Type"] == "application/problem+json"
    assert "This address takes application/json." in answer.json()["detail"]


@pytest.mark.parametrize("number", ["9" * 400, "1e400", "-1", "true", '"1"', "null"])
def test_a_number_too_large_or_none_is_pointed_at(number: str, callers: Callers) -> None:
    dog = make_dog(callers.club)
    body = f'{{"version": {number}, "reason": "x", "breed": "b", "name": "n", "sex": "F"}}'

    answer = callers.registrar.send(f"dogs/{dog.public_id}", body, "PUT")

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/version"


class TestToken:
    @pytest.mark.parametrize(
        "header",
        ["Bearer", "Bearer ", "Bearer sl_x", "Basic YTpi", "Bearer ä", "Bearer " + "x" * 9000],
    )
    def test_one_that_does_not_stand_is_refused_and_not_echoed(
        self, header: str, callers: Callers
    ) -> None:
        answer = callers.nobody.get("breeds", Authorization=header)

        assert answer.status_code == 401
        assert answer["WWW-Authenticate"].startswith("Bearer")
        assert "sl_x" not in answer.content.decode()

    def test_it_ends_with_the_next_request_when_revoked(self, callers: Callers) -> None:
        secret = make_token(callers.club.nurse, by=callers.club.secretary.actor)
        caller = Caller(secret)
        before = caller.get("me").status_code
        token = ApiToken.objects.order_by("pk").last()
        assert token is not None
        revoke_token(by=callers.club.secretary.actor, token_id=token.pk)

        assert (before, caller.get("me").status_code) == (200, 401)

    def test_it_does_only_what_its_scopes_say(self, callers: Callers) -> None:
        secret = make_token(
            callers.club.nurse, by=callers.club.secretary.actor, scopes=["dogs:read"]
        )
        caller = Caller(secret)

        assert caller.get("dogs").status_code == 200
        assert caller.get("evaluations").status_code == 403
        assert caller.send("dogs", {}).status_code == 403


def _routes(evaluation: str, file: str) -> list[tuple[str, str, Any]]:
    path = f"evaluations/{evaluation}"
    reason = {"reason": "x"}
    return [
        ("GET", path, None),
        ("GET", f"{path}/answers", None),
        ("PUT", f"{path}/answers", {}),
        ("GET", f"{path}/history", None),
        ("POST", f"{path}/withdrawal", reason),
        ("GET", f"evidence/{file}", None),
        ("GET", f"evidence/{file}/content", None),
        ("DELETE", f"evidence/{file}", None),
    ]


def test_another_clinics_object_answers_as_a_missing_one_does(callers: Callers) -> None:
    evaluation = make_submitted(callers.club)
    sent = callers.clinic.client.post(
        "/api/v1/evidence",
        b"\xff\xd8\xff\xe0 film",
        content_type="image/jpeg",
        headers=callers.clinic.headers,
    )
    file = sent.json()["id"]
    none = "abcdefgh23456789"
    owners = [
        callers.clinic.send(path, body, method).status_code
        for method, path, body in _routes(evaluation.public_id, file)
        if method == "GET"
    ]

    assert set(owners) == {200}
    for (method, others, body), (_, missing, _body) in zip(
        _routes(evaluation.public_id, file), _routes(none, none), strict=True
    ):
        of_others = callers.other_clinic.send(others, body, method)
        of_none = callers.other_clinic.send(missing, body, method)
        assert of_others.status_code == of_none.status_code == 404, (method, others)
        assert of_others.content == of_none.content
        volatile = {"X-Request-ID"}
        assert {k: v for k, v in of_others.items() if k not in volatile} == {
            k: v for k, v in of_none.items() if k not in volatile
        }


def test_nobody_reads_without_a_token(callers: Callers) -> None:
    evaluation = make_submitted(callers.club)

    for path in ("me", "dogs", "evaluations", f"evaluations/{evaluation.public_id}", "queue"):
        assert callers.nobody.get(path).status_code == 401


def test_too_many_requests_wait(callers: Callers, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(AddressThrottle, "rate", "3/hour")
    for _ in range(3):
        assert callers.nobody.get("breeds").status_code == 200

    late = callers.nobody.get("breeds")

    assert late.status_code == 429
    assert 0 < int(late["Retry-After"]) <= 3600
    assert late.json()["title"] == "Too Many Requests"
    assert callers.clinic.get("breeds").status_code == 200


def test_a_fault_of_ours_tells_nothing(callers: Callers, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_args: Any, **_kwargs: Any) -> None:
        raise RuntimeError("the secret inside")

    monkeypatch.setattr("api.views.public.dog_shapes.breed", fail)
    callers.nobody.client.raise_request_exception = False

    answer = callers.nobody.get("breeds")

    assert answer.status_code == 500
    assert answer["Content-Type"] == "application/problem+json"
    assert "secret" not in answer.content.decode()


def test_the_body_given_is_not_repeated(callers: Callers) -> None:
    body = make_body(make_dog(callers.club))
    body["owner"] = {"full_name": "Olga Canary", "email": "not a canary address"}

    answer = callers.clinic.send("evaluations", body)

    assert answer.status_code == 422
    assert "anary" not in answer.content.decode()
