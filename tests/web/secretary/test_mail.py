"""The test mail: it goes to the secretary's own address, and its fate is told as it was."""

from __future__ import annotations

from smtplib import SMTPRecipientsRefused

import pytest
from django.core import mail
from django.core.mail import EmailMessage
from django.core.mail.backends.smtp import EmailBackend
from django.test import Client
from pytest_django import Settings

from registry.models import OutboxMail, User
from tests.factories import Club, Person, make_club

pytestmark = pytest.mark.django_db
AT = "/secretary/mail/test/"


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def sent(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> list[EmailMessage]:
    """What a mail server was handed; it takes everything."""
    taken: list[EmailMessage] = []

    def take(self: EmailBackend, messages: list[EmailMessage]) -> int:
        taken.extend(messages)
        return len(messages)

    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    monkeypatch.setattr(EmailBackend, "send_messages", take)
    return taken


def answer(person: Person) -> str:
    client = Client()
    client.force_login(person.user)
    return client.post(AT, follow=True).content.decode()


def test_it_goes_to_the_secretarys_own_address(club: Club, sent: list[EmailMessage]) -> None:
    text = answer(club.secretary)

    assert [message.to for message in sent] == [[club.secretary.user.email]]
    assert f"The mail server took the mail to {club.secretary.user.email}." in text
    assert not OutboxMail.objects.exists()


def test_what_the_mail_server_said_is_told(
    club: Club, sent: list[EmailMessage], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: EmailBackend, messages: list[EmailMessage]) -> int:
        raise SMTPRecipientsRefused({"a@b.example": (550, b"no such mailbox")})

    monkeypatch.setattr(EmailBackend, "send_messages", refuse)

    text = answer(club.secretary)

    assert "could not be sent" in text
    assert "no such mailbox" in text
    assert sent == []
    assert not OutboxMail.objects.exists()


def test_a_server_that_is_away_is_told(
    club: Club, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Nothing listens on the port of a computer's own, and the refusal comes at once.
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1

    assert "Connection refused" in answer(club.secretary)


def test_a_trial_says_that_it_went_nowhere(club: Club) -> None:
    assert "was kept on this computer" in answer(club.secretary)
    assert len(mail.outbox) == 1


def test_an_account_without_an_address_is_told_so(club: Club, sent: list[EmailMessage]) -> None:
    User.objects.filter(pk=club.secretary.user.pk).update(email="")

    assert "Your account has no mail address" in answer(club.secretary)
    assert sent == []


def test_it_is_the_secretarys_alone(club: Club, sent: list[EmailMessage]) -> None:
    client = Client()
    client.force_login(club.registrar.user)

    assert client.post(AT).status_code == 404
    assert sent == []
