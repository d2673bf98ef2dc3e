"""A disk that is full, a database that is away: it is said so, it can be repeated, what was saved
is still there, and buyers' pages go on."""

from __future__ import annotations

import errno
import html
import logging
import re
import sqlite3
import uuid
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import InterfaceError, OperationalError, connection
from django.test import Client
from pytest_django import Settings

from registry.desk.agreement import check_files, check_rows
from registry.desk.people import appoint
from registry.interruptions import passes
from registry.ledger.verify import verify
from registry.models import Evaluation, Role
from tests.api.conftest import Caller
from tests.factories import Club, make_accepted, make_body, make_club, make_dog, make_token
from tests.reliability.faults import file_fault, full_disk, full_file
from tests.reliability.numbers import counted, times
from tests.reliability.record import What
from tests.web.clinic.desk import EXAMINATION, at, film, keep, signed_in, started, value_of

ATTEMPTS = times(soak=500, short=60)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def club(settings: Settings, tmp_path: Path) -> Club:
    settings.EVIDENCE_ROOT = tmp_path / "evidence"
    settings.VAR_DIR = tmp_path
    return make_club()


@pytest.fixture
def nurse(club: Club) -> Client:
    client = signed_in(club.nurse)
    client.raise_request_exception = False
    return client


@pytest.fixture(autouse=True)
def _quiet() -> Iterator[None]:
    """Each failure is logged with its trace; here that is hundreds of times."""
    logging.disable(logging.ERROR)
    yield
    logging.disable(logging.NOTSET)


def assert_whole() -> None:
    assert (list(check_rows()), list(check_files()), verify().is_whole) == ([], [], True)


def hidden_fields(page: str) -> dict[str, str]:
    return {
        name: html.unescape(value)
        for name, value in re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page)
    }


def test_nothing_is_lost_and_pages_that_read_go_on(club: Club, nurse: Client) -> None:
    number, dog = make_accepted(club).number, make_dog(club)
    draft = started(club.nurse, dog)
    keep(nurse, draft, "examination", **EXAMINATION)
    program = Caller(make_token(club.nurse, by=club.secretary.actor))
    program.client.raise_request_exception = False
    body = make_body(dog)
    statuses: Counter[int] = Counter()

    with counted(What.FULL_DISK) as so_far, full_disk():
        for turn in range(ATTEMPTS):
            for answer in (
                program.send("evaluations", body, Idempotency_Key="one-key"),
                keep(nurse, draft, "examination", **{**EXAMINATION, "examiner": f"Dr. {turn}"}),
                nurse.post(at("files", draft), {"file": [film()]}),
            ):
                statuses[answer.status_code] += 1
                assert int(answer["Retry-After"]) > 0
            reader = Client(REMOTE_ADDR=f"10.0.{turn // 250}.{turn % 250}")
            for path in (f"/C/{number}", f"/C/{number}.pdf", f"/dogs/{dog.public_id}/", "/breeds/"):
                assert reader.get(path).status_code == 200, path
            assert reader.get(f"/api/v1/certificates/{number}").status_code == 200
            so_far.done += 1
        so_far.failures = statuses[500]

    assert statuses == {503: 3 * ATTEMPTS}
    assert value_of(nurse.get(at("examination", draft)), "examiner") == EXAMINATION["examiner"]
    assert_whole()
    again = program.send("evaluations", body, Idempotency_Key="one-key")
    assert again.status_code == 201
    assert Evaluation.objects.filter(dog=dog).count() == 1


def test_a_file_that_cannot_grow_keeps_what_was_answered(club: Club) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("needs SQLite: this run is on PostgreSQL")
    number = make_accepted(club).number
    program = Caller(make_token(club.nurse, by=club.secretary.actor))
    program.client.raise_request_exception = False
    bodies = [make_body(make_dog(club)) for _ in range(40)]

    with full_file():
        answers = [
            program.send("evaluations", body, Idempotency_Key=f"key-{turn}")
            for turn, body in enumerate(bodies)
        ]
        assert Client().get(f"/C/{number}").status_code == 200

    late = [turn for turn, answer in enumerate(answers) if answer.status_code == 503]
    assert {answer.status_code for answer in answers} <= {201, 503}
    assert late
    kept = {answer.json()["id"] for answer in answers if answer.status_code == 201}
    sent = Evaluation.objects.filter(state="submitted")
    assert set(sent.values_list("public_id", flat=True)) == kept
    assert_whole()
    for turn in late:
        again = program.send("evaluations", bodies[turn], Idempotency_Key=f"key-{turn}")
        assert again.status_code == 201


def test_what_was_typed_is_sent_again_by_one_button(club: Club, nurse: Client) -> None:
    draft = started(club.nurse, make_dog(club))
    typed = {**EXAMINATION, "examiner": 'Dr. Vera "V" <Oakhollow>'}

    with full_disk():
        late = keep(nurse, draft, "examination", **typed)
    fields = hidden_fields(late.text)

    assert late.status_code == 503
    assert "Nothing of what you sent was saved" in late.text
    assert fields.items() >= typed.items()
    assert nurse.post(at("examination", draft), fields).status_code == 302
    shown = nurse.get(at("examination", draft))
    assert value_of(shown, "examiner") == 'Dr. Vera "V" <Oakhollow>'


def test_a_clinic_is_chosen_for_sure_or_not_at_all(club: Club) -> None:
    person = club.nurse
    other = appoint(
        by=club.secretary.actor,
        user_id=person.user.pk,
        role=Role.CLINIC,
        clinic_id=club.other_clinic.public_id,
    )
    client = signed_in(person)
    client.raise_request_exception = False

    with full_disk():
        late = client.post("/rooms/", {"role": str(other.pk)})

    assert late.status_code == 503
    assert client.post("/rooms/", {"role": str(other.pk)}).status_code == 302


def test_a_password_is_never_put_into_a_page(club: Club) -> None:
    client = Client(raise_request_exception=False)
    secret = "tall grass by the mill"

    with connection.execute_wrapper(_away):
        late = client.post("/sign-in/", {"login": club.nurse.login, "password": secret})

    assert late.status_code == 503
    assert secret not in late.text
    assert "Go back and send it again" in late.text


def test_without_a_database_a_page_says_so(club: Club) -> None:
    client = Client(raise_request_exception=False)

    with connection.execute_wrapper(_away):
        page = client.get("/find/?q=juno")
        told = client.get("/api/v1/breeds")

    assert (page.status_code, told.status_code) == (503, 503)
    assert "Load this page again in a few minutes" in page.text
    assert page["Cache-Control"] == "no-store"
    assert told["Content-Type"] == "application/problem+json"
    assert told["Retry-After"] == page["Retry-After"]


def test_an_evidence_folder_without_room_says_so(club: Club, nurse: Client, tmp_path: Path) -> None:
    draft = started(club.nurse, make_dog(club))

    with file_fault(1, errno.ENOSPC, tmp_path / "evidence"):
        late = nurse.post(at("files", draft), {"file": [film()]})

    assert late.status_code == 503
    assert nurse.post(at("files", draft), {"file": [film()]}).status_code == 302


def test_a_fault_of_ours_is_still_one(club: Club, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_args: Any) -> None:
        raise LookupError("planted")

    monkeypatch.setattr("registry.web.buyer.views.find_dogs", broken)
    answer = Client(raise_request_exception=False).get("/find/?q=juno")

    assert answer.status_code == 500
    assert "This is our fault" in answer.text


def _away(*_args: Any) -> None:
    raise OperationalError("the connection is closed")


def _led_to(error: Exception, cause: Exception) -> Exception:
    error.__cause__ = cause
    return error


def _of_sqlite(code: int) -> Exception:
    cause = sqlite3.OperationalError("planted")
    cause.sqlite_errorcode = code
    return _led_to(OperationalError("planted"), cause)


@pytest.mark.parametrize(
    ("error", "is_passing"),
    [
        (OSError(errno.ENOSPC, "no room"), True),
        (OSError(errno.EDQUOT, "no room for this user"), True),
        (OSError(errno.ENOENT, "no such file"), False),
        (ConnectionResetError(errno.ECONNRESET, "the reader hung up"), False),
        (OperationalError("server closed the connection"), True),
        (InterfaceError("the connection is closed"), True),
        (_of_sqlite(sqlite3.SQLITE_FULL), True),
        (_of_sqlite(sqlite3.SQLITE_BUSY), True),
        (_of_sqlite(sqlite3.SQLITE_ERROR), False),
        (_led_to(ValueError("late"), OSError(errno.EIO, "broken disk")), True),
        (ValueError("ours"), False),
        (None, False),
    ],
)
def test_which_faults_pass(error: Exception | None, is_passing: bool) -> None:
    assert passes(error) is is_passing


def test_the_same_key_is_done_once_after_all(club: Club) -> None:
    """Whether the answer was lost before or after the deed was done."""
    program = Caller(make_token(club.nurse, by=club.secretary.actor))
    program.client.raise_request_exception = False
    body, key = make_body(make_dog(club)), str(uuid.uuid4())

    with connection.execute_wrapper(_away):
        late = program.send("evaluations", body, Idempotency_Key=key)
    first = program.send("evaluations", body, Idempotency_Key=key)
    second = program.send("evaluations", body, Idempotency_Key=key)

    assert late.status_code == 503
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json()["id"] == second.json()["id"]
    assert Evaluation.objects.count() == 1
