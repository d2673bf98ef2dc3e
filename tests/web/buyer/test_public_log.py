"""The log's page and its signed text, for everybody."""

from __future__ import annotations

import pytest
from django.test import Client

from registry.desk.log import publish_checkpoint
from registry.ledger.checkpoints import Checkpoint, VerifierKey, open_note
from registry.ledger.keys import signer
from tests.factories import make_club, make_dog

pytestmark = pytest.mark.django_db


def test_before_the_first_signature_the_page_says_so(client: Client) -> None:
    page = client.get("/log/").content.decode()

    assert "Nothing has been signed yet" in page
    assert client.get("/log/checkpoint").status_code == 404


def test_the_page_names_what_was_signed(client: Client) -> None:
    make_dog(make_club())
    made = publish_checkpoint()

    page = client.get("/log/").content.decode()

    assert made is not None
    assert f"<dd>{made.size}</dd>" in page
    assert signer().verifier.text in page.replace("&#x2B;", "+")


def test_the_signed_text_opens_with_the_key_of_the_page(client: Client) -> None:
    make_dog(make_club())
    made = publish_checkpoint()

    answer = client.get("/log/checkpoint")

    key = VerifierKey.parse(signer().verifier.text)
    assert made is not None
    assert answer.headers["Content-Type"] == "text/plain; charset=utf-8"
    assert Checkpoint.parse(open_note(answer.content.decode(), [key])).size == made.size
