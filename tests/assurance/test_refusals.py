"""Every refusal leaves a line in the log: when, which route and status, who; nothing typed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from registry.logs import JsonLines
from tests.factories import PASSWORD, Club, make_club, make_token


@pytest.fixture
def club(db: None) -> Club:
    return make_club()


@pytest.fixture
def lines(caplog: pytest.LogCaptureFixture) -> Iterator[pytest.LogCaptureFixture]:
    with caplog.at_level("INFO"):
        yield caplog


def refusals(lines: pytest.LogCaptureFixture) -> list[str]:
    return [each.getMessage() for each in lines.records if each.name == "registry.middleware"]


def signed_in(club: Club, role: str, *, is_checked: bool = False) -> Client:
    client = Client(enforce_csrf_checks=is_checked)
    client.force_login(getattr(club, role).user)
    return client


def test_another_roles_room_is_noted_with_who(club: Club, lines: pytest.LogCaptureFixture) -> None:
    signed_in(club, "nurse").get("/registrar/")

    who = club.nurse.user.subject_id
    assert refusals(lines) == [f"refused: 404, GET registrar:queue, user {who}"]


def test_another_clinics_object_is_noted(club: Club, lines: pytest.LogCaptureFixture) -> None:
    signed_in(club, "nurse").get("/clinic/results/zzzzzzzzzzzzzzzz/")

    (line,) = refusals(lines)
    assert line.startswith("refused: 404, GET clinic:")
    assert "zzzz" not in line


def test_a_token_that_does_not_stand_is_noted(club: Club, lines: pytest.LogCaptureFixture) -> None:
    Client(headers={"Authorization": "Bearer sl_stolen-and-typed"}).get("/api/v1/me")

    assert refusals(lines) == ["refused: 401, GET api:me, nobody"]
    assert "stolen" not in lines.text


def test_a_token_without_the_scope_is_noted_by_its_first_letters(
    club: Club, lines: pytest.LogCaptureFixture
) -> None:
    token = make_token(club.nurse, by=club.secretary.actor, scopes=["dogs:read"])

    Client(headers={"Authorization": f"Bearer {token}"}).get("/api/v1/evaluations")

    assert refusals(lines) == [f"refused: 403, GET api:evaluations, token {token[3:9]}"]
    assert token not in lines.text


def test_too_many_requests_are_noted(club: Club, lines: pytest.LogCaptureFixture) -> None:
    from api.throttles import AddressThrottle  # noqa: PLC0415

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(AddressThrottle, "rate", "1/hour")
        for _ in range(2):
            Client().get("/api/v1/breeds")

    assert refusals(lines) == ["refused: 429, GET api:breeds, nobody"]


def test_a_form_without_its_token_is_noted(club: Club, lines: pytest.LogCaptureFixture) -> None:
    signed_in(club, "secretary", is_checked=True).post("/secretary/people/new/", {})

    (line,) = refusals(lines)
    assert line.startswith("refused: 403, POST secretary:")


def test_input_that_cannot_be_taken_is_noted_without_it(
    club: Club, lines: pytest.LogCaptureFixture
) -> None:
    token = make_token(club.nurse, by=club.secretary.actor)
    client = Client(headers={"Authorization": f"Bearer {token}"})

    client.post("/api/v1/evaluations", {"smuggled": 1}, content_type="application/json")
    client.get("/api/v1/dogs?smuggled=1")

    who = f"token {token[3:9]}"
    assert refusals(lines) == [
        f"refused: 422, POST api:evaluations, {who}",
        f"refused: 400, GET api:dogs, {who}",
    ]
    assert "smuggled" not in lines.text


def test_a_page_that_is_merely_missing_is_no_refusal(
    club: Club, lines: pytest.LogCaptureFixture
) -> None:
    Client().get("/C/AAAAAAAAAA")
    Client().get("/no/such/page")

    assert refusals(lines) == []


def test_what_is_answered_leaves_no_line(club: Club, lines: pytest.LogCaptureFixture) -> None:
    client = signed_in(club, "nurse")

    for path in ("/", "/clinic/", "/find/?q=Juno"):
        assert client.get(path).status_code == 200

    assert refusals(lines) == []


def test_no_password_or_session_reaches_the_log(
    club: Club, lines: pytest.LogCaptureFixture
) -> None:
    client = Client()

    client.post("/sign-in/", {"username": club.nurse.login, "password": "a wrong one of mine"})
    client.post("/sign-in/", {"username": club.nurse.login, "password": PASSWORD})

    assert "a wrong one of mine" not in lines.text
    assert PASSWORD not in lines.text
    assert all(cookie.value not in lines.text for cookie in client.cookies.values())


class TestWhereLinesGo:
    def test_all_go_to_standard_error_and_nowhere_else(self) -> None:
        log: dict[str, Any] = settings.LOGGING

        assert {each["class"] for each in log["handlers"].values()} == {"logging.StreamHandler"}
        assert log["root"]["handlers"] == ["stderr"]
        assert all(not each.get("handlers") for each in log["loggers"].values())

    def test_each_is_one_json_object_outside_development(self) -> None:
        log: dict[str, Any] = settings.LOGGING

        made_by = log["formatters"]["lines"]["()"]
        assert made_by == f"{JsonLines.__module__}.{JsonLines.__qualname__}"
        assert log["handlers"]["stderr"]["formatter"] == "lines"
