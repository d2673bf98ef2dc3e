"""Words that mean something to a mail server, a log, a header or a parser stay words."""

from __future__ import annotations

import io
import json
import logging
from typing import Any

import pytest
from django.core import mail
from django.core.mail import EmailMessage
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from registry.desk import mail as desk_mail
from registry.desk import people
from registry.desk.errors import Invalid
from registry.logs import JsonLines
from registry.models import Dog, OutboxMail
from tests.factories import Club, make_accepted, make_body, make_club, make_dog, make_token
from tests.routes import all_routes

# What ends a line for somebody: for SMTP, for Python, for Unicode, for a terminal.
BREAKS = ("\r\n", "\n", "\r", "\v", "\f", "\x1c", "\x1d", "\x1e", "\x85", "\u2028", "\u2029")
HEADER = "Bcc: everybody@elsewhere.invalid"


class TestMail:
    @given(words=st.text(max_size=60), line_end=st.sampled_from(BREAKS))
    def test_no_name_makes_a_header_or_an_address(self, words: str, line_end: str) -> None:
        made = desk_mail._worded(f"News of {words}{line_end}{HEADER}\n\ntext", "one@club.example")

        sent = made.message()
        assert made.recipients() == ["one@club.example"]
        assert "Bcc" not in sent
        assert "\n" not in str(made.subject)
        assert [name for name in sent.keys() if name not in _HEADERS] == []  # noqa: SIM118

    @pytest.mark.django_db
    @pytest.mark.parametrize("line_end", BREAKS)
    def test_a_name_with_a_line_end_still_gives_one_mail(self, line_end: str) -> None:
        certificate = make_accepted(make_club())
        Dog.objects.update(name=f"Juno{line_end}{HEADER}")
        waiting = OutboxMail.objects.create(
            kind="owner-result", to_email="o@club.example", evaluation=certificate.evaluation
        )

        sent, _still = desk_mail.deliver_waiting()

        waiting.refresh_from_db()
        assert sent >= 1
        assert waiting.sent_at is not None
        assert {address for each in mail.outbox for address in each.recipients()} <= {
            "o@club.example",
            *OutboxMail.objects.values_list("to_email", flat=True),
        }

    @pytest.mark.django_db
    @pytest.mark.parametrize("line_end", BREAKS)
    def test_an_address_is_one_address(self, line_end: str) -> None:
        club = make_club()

        for address in (f"a@b.example{line_end}{HEADER}", f"{line_end}a@b.example,c@d.example"):
            with pytest.raises(Invalid):
                people.open_account(
                    by=club.secretary.actor,
                    login="newcomer",
                    full_name="New Comer",
                    email=address,
                    password="a long valley of 12 hounds",
                )

    def test_django_would_refuse_what_slipped_through(self) -> None:
        """The floor below ours: a header with a line end is an error and never a second header."""
        with pytest.raises(ValueError, match="newlines"):
            EmailMessage(subject=f"a\n{HEADER}", to=["a@b.example"]).message()


_HEADERS = frozenset(
    {"Content-Type", "MIME-Version", "Content-Transfer-Encoding", "Subject", "From", "To", "Date"}
    | {"Message-ID"}
)


class TestLog:
    @given(words=st.text(max_size=80), line_end=st.sampled_from(BREAKS))
    def test_whatever_is_logged_is_one_line(self, words: str, line_end: str) -> None:
        stream = io.StringIO()
        handler = logging.StreamHandler(stream)
        handler.setFormatter(JsonLines())
        forged = f'{words}{line_end}{{"level": "info", "message": "all is well"}}'

        handler.emit(logging.LogRecord("x", logging.ERROR, "", 1, "it failed: %s", (forged,), None))

        written = stream.getvalue()
        assert len(written.splitlines()) == 1
        assert json.loads(written)["level"] == "error"
        assert written.isascii()


@pytest.mark.django_db
class TestHeaders:
    @pytest.mark.parametrize(
        "line_end", ["%0d%0a", "%0a", "%E5%98%8A%E5%98%8D", "%u000a", "\\r\\n"]
    )
    def test_no_typed_word_makes_a_header(self, client: Client, line_end: str) -> None:
        make_dog(make_club())

        for path in (
            "/find/?q=",
            "/C/",
            "/c/",
            "/dogs/",
            "/breeds/",
            "/sign-in/?next=/",
            "/owner/",
        ):
            answer = client.get(f"{path}x{line_end}Set-Cookie:%20taken=1")

            assert "taken" not in answer.cookies
            assert all("\n" not in value for value in answer.headers.values())
            assert answer.status_code < 500


@pytest.fixture
def club(db: None) -> Club:
    return make_club()


TYPED = (
    "' OR '1'='1",
    '"; DROP TABLE registry_dog; --',
    "1; SELECT pg_sleep(9)",
    "%27%20OR%201=1--",
    "$(touch /tmp/taken)",
    "`id`",
    "{{1337*1337}}",
    "${1337*1337}",
    "{% debug %}",
    "%s%s%n",
    "{0.__class__.__mro__}",
    "(((((a+)+)+)+)+)$",
    "<script>alert(1)</script>",
    "<svg onload=alert(1)>",
    "*)(uid=*))(|(uid=*",
    "../../../../etc/passwd",
    "file:///etc/passwd",
    "http://169.254.169.254/latest/",
)


class TestTyped:
    def test_nothing_typed_into_the_look_up_is_carried_out(self, club: Club) -> None:
        make_dog(club, name="Tarnfold Ada")
        client = Client()

        for typed in TYPED:
            html = client.get("/find/", {"q": typed}).content.decode()

            assert "<script>alert" not in html
            assert "<svg onload" not in html
            assert "1787569" not in html
            assert "root:" not in html
        assert Dog.objects.count() == 1

    def test_nothing_in_a_name_is_carried_out(self, club: Club) -> None:
        client = Client()
        client.force_login(club.registrar.user)

        for typed in TYPED:
            dog = make_dog(club)
            Dog.objects.filter(pk=dog.pk).update(name=typed)
            html = client.get(f"/dogs/{dog.public_id}/").content.decode()

            assert "<script>alert" not in html
            assert "<svg onload" not in html
            assert "1787569" not in html

    def test_no_address_in_a_request_is_called(self, club: Club) -> None:
        """The tests' own guard fails a connection that leaves the machine; here nothing tries."""
        asked = dict.fromkeys(
            ("url", "next", "q", "callback", "image", "href"), "http://203.0.113.7/x"
        )
        client = Client()
        client.force_login(club.secretary.user)

        for route in all_routes():
            if route.name != "sign-out":
                assert client.get(route.path, asked).status_code < 500, str(route)


class TestDoubledParameters:
    def test_the_interface_refuses_a_parameter_given_twice(self, club: Club) -> None:
        token = make_token(club.registrar, by=club.secretary.actor)
        client = Client(headers={"Authorization": f"Bearer {token}"})

        for path in ("dogs?q=a&q=b", "evaluations?state=submitted&state=accepted"):
            answer = client.get(f"/api/v1/{path}")

            assert answer.status_code == 400
            assert "once" in answer.content.decode()

    def test_the_interface_refuses_a_member_given_twice(self, club: Club) -> None:
        token = make_token(club.nurse, by=club.secretary.actor)
        body = json.dumps(make_body(make_dog(club)))
        doubled = body[:-1] + ', "examined_on": "2020-01-01"}'

        answer = Client(headers={"Authorization": f"Bearer {token}"}).post(
            "/api/v1/evaluations", doubled, content_type="application/json"
        )

        assert answer.status_code == 400

    def test_the_address_adds_nothing_to_what_a_form_says(self, club: Club) -> None:
        certificate = make_accepted(club, consent_to_publish=False)
        link = f"/owner/{desk_mail.owner_token(certificate.evaluation)}/"

        Client().post(f"{link}?publish=yes", {"publish": "no"})
        Client().post(f"{link}?publish=yes")

        certificate.evaluation.refresh_from_db()
        assert certificate.evaluation.consent_to_publish is False

    def test_every_page_answers_a_doubled_parameter(self, club: Club) -> None:
        client = Client()
        client.force_login(club.registrar.user)
        names = ("q", "page", "state", "mate", "trait", "dog", "next", "sex", "as_of", "breed")
        query = "&".join(f"{name}={value}" for name in names for value in ("a", "b", "", "1"))

        for route in all_routes():
            if route.name != "sign-out":
                assert client.get(f"{route.path}?{query}").status_code < 500, str(route)


class TestUnaskedFields:
    def test_the_interface_refuses_a_member_nobody_reads(self, club: Club) -> None:
        token = make_token(club.nurse, by=club.secretary.actor)
        client = Client(headers={"Authorization": f"Bearer {token}"})

        unasked = {
            "state": "accepted",
            "clinic": club.other_clinic.public_id,
            "decided_by": 1,
            "id": "x",
            "received_at": "2020-01-01",
        }
        for name, value in unasked.items():
            body = {**make_body(make_dog(club)), name: value}
            answer = client.post("/api/v1/evaluations", body, content_type="application/json")

            problems = answer.json()["errors"]
            assert answer.status_code == 422
            assert [each["pointer"] for each in problems] == [f"/{name}"]

    def test_a_form_takes_no_field_it_did_not_show(self, club: Club) -> None:
        client = Client()
        client.force_login(club.secretary.user)
        raised: dict[str, Any] = {
            "is_superuser": "on",
            "is_staff": "on",
            "is_active": "",
            "id": "1",
        }

        shown = {"name": "Renamed", "town": "Tarnby", "email": ""}
        client.post(
            f"/secretary/clinics/{club.clinic.public_id}/", {**shown, "public_id": "x", **raised}
        )

        club.clinic.refresh_from_db()
        assert club.clinic.name == "Renamed"
        assert club.clinic.public_id != "x"
        club.secretary.user.refresh_from_db()
        assert club.secretary.user.is_superuser is False
