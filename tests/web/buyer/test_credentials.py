"""The signed file, the club's keys, the status lists and the page that checks a file."""

from __future__ import annotations

import json
import re
from typing import Any

import pypdfium2 as pdfium
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from registry.credential.certificate import read
from registry.credential.multikey import from_multikey
from registry.desk.log import publish_checkpoint
from registry.ledger.keys import verifier_keys
from registry.models import Certificate
from registry.telling.issuer import issuer
from tests.factories import make_accepted, make_club

pytestmark = pytest.mark.django_db


@pytest.fixture
def sealed() -> Certificate:
    certificate = make_accepted(make_club())
    publish_checkpoint()
    return certificate


def read_json(client: Client, path: str) -> dict[str, Any]:
    """What is there; Django's client reads no media type but application/json."""
    found: dict[str, Any] = json.loads(client.get(path).content)
    return found


def sent(client: Client, data: bytes) -> str:
    file = SimpleUploadedFile("certificate.json", data)
    answer = client.post("/check/", {"file": file})
    assert answer.status_code == 200
    return answer.content.decode()


class TestTheFile:
    def test_it_is_handed_out_and_checks(self, client: Client, sealed: Certificate) -> None:
        answer = client.get(f"/C/{sealed.number}.json")

        assert answer.headers["Content-Type"] == "application/vc"
        assert read(answer.content, issuer(), verifier_keys()).number == sealed.number

    def test_the_interface_hands_out_the_same(self, client: Client, sealed: Certificate) -> None:
        by_page = read_json(client, f"/C/{sealed.number}.json")

        assert read_json(client, f"/api/v1/certificates/{sealed.number}/credential") == by_page

    def test_what_is_not_released_has_none(self, client: Client) -> None:
        hidden = make_accepted(make_club(), consent_to_publish=False)

        assert client.get(f"/C/{hidden.number}.json").status_code == 404
        path = f"/api/v1/certificates/{hidden.number}/credential"
        assert client.get(path).status_code == 404

    def test_the_pdf_carries_it_along(self, client: Client, sealed: Certificate) -> None:
        pdf = client.get(f"/C/{sealed.number}.pdf").content

        with pdfium.PdfDocument(pdf) as document:
            assert document.count_attachments() == 1
            attached = bytes(document.get_attachment(0).get_data())
        assert attached == client.get(f"/C/{sealed.number}.json").content


class TestKeysAndLists:
    def test_the_keys_are_those_that_sign(self, client: Client, sealed: Certificate) -> None:
        document = read_json(client, "/issuer")
        proof = read_json(client, f"/C/{sealed.number}.json")["proof"]

        (key,) = document["assertionMethod"]
        assert key["id"] == proof["verificationMethod"]
        assert issuer().keys[key["id"]] == from_multikey(key["publicKeyMultibase"])

    @pytest.mark.parametrize("purpose", ["revocation", "refresh"])
    def test_a_list_is_signed_and_kept_a_minute(
        self, client: Client, sealed: Certificate, purpose: str
    ) -> None:
        named = {
            status["statusPurpose"]: status["statusListCredential"]
            for status in read_json(client, f"/C/{sealed.number}.json")["credentialStatus"]
        }

        answer = client.get(named[purpose].removeprefix("http://127.0.0.1:8000"))

        assert json.loads(answer.content)["credentialSubject"]["statusPurpose"] == purpose
        assert answer.headers["Cache-Control"] == "public, max-age=60"

    @pytest.mark.parametrize("path", ["/status/suspension/0", "/status/revocation/99999"])
    def test_there_are_no_other_lists(self, client: Client, path: str) -> None:
        assert client.get(path).status_code == 404


class TestContext:
    def test_it_stands_where_the_files_say_for_any_site_and_for_ever(
        self, client: Client, sealed: Certificate
    ) -> None:
        _base, ours = read_json(client, f"/C/{sealed.number}.json")["@context"]

        answer = client.get(ours.removeprefix("http://127.0.0.1:8000"))

        assert answer.headers["Content-Type"] == "application/ld+json"
        assert answer.headers["Cache-Control"] == "public, max-age=31536000, immutable"
        assert answer.headers["Access-Control-Allow-Origin"] == "*"
        assert json.loads(answer.content)["@context"]["@version"] == 1.1

    def test_each_name_leads_to_its_words_on_a_page(self, client: Client) -> None:
        defined = read_json(client, "/contexts/certificate/v1")["@context"]
        addresses = [each["@id"] for name, each in defined.items() if name[0] != "@"]
        pages = {address.partition("#")[0] for address in addresses}

        (there,) = pages
        page = client.get(there.removeprefix("http://127.0.0.1:8000")).content.decode()

        assert len(addresses) == 27
        for address in addresses:
            name = address.partition("#")[2]
            assert re.search(rf'<div id="{name}"><dt><code>{name}</code></dt><dd>\w', page), name


class TestChecking:
    def test_a_genuine_file_is_genuine(self, client: Client, sealed: Certificate) -> None:
        page = sent(client, client.get(f"/C/{sealed.number}.json").content)

        assert "Genuine and current" in page
        assert sealed.evaluation.dog.name in page

    def test_a_changed_file_is_not(self, client: Client, sealed: Certificate) -> None:
        found = read_json(client, f"/C/{sealed.number}.json")
        found["credentialSubject"]["readings"][0]["value"] = "0.11"

        page = sent(client, json.dumps(found).encode())

        assert "Not found" in page
        assert "this file was changed" in page

    def test_nothing_chosen_is_said_at_the_field(self, client: Client) -> None:
        answer = client.post("/check/")

        assert answer.status_code == 400
        assert answer.content.decode().count("Choose the file of a certificate first.") == 2

    def test_a_large_file_is_refused_unread(self, client: Client) -> None:
        answer = client.post("/check/", {"file": SimpleUploadedFile("a.pdf", bytes(100_000))})

        assert answer.status_code == 400
        assert "too large" in answer.content.decode()

    def test_it_sets_no_cookie_and_is_not_kept(self, client: Client) -> None:
        answer = client.get("/check/")

        assert not answer.cookies
        assert "no-store" in answer.headers["Cache-Control"]
