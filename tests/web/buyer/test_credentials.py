"""The signed file, the club's keys, the status lists and the page that checks a file."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

import pypdfium2 as pdfium
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from registry.credential.certificate import read
from registry.credential.multikey import from_multikey
from registry.desk import consent
from registry.desk.log import publish_checkpoint
from registry.ledger import Actor
from registry.ledger.keys import verifier_keys
from registry.models import Certificate
from registry.paper import attachment
from registry.paper.certificate import certificate_pdf
from registry.queries.public import certificate_record
from registry.science.numbers import format_number
from registry.telling.issuer import issuer
from registry.telling.papers import certificate_paper
from registry.wording import dates
from tests.corpora.pdf_files import attaching, samples, stream
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


def sent(client: Client, data: bytes, name: str = "certificate.json") -> str:
    file = SimpleUploadedFile(name, data)
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
        defined = read_json(client, "/contexts/certificate/v2")["@context"]
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

    def test_what_was_signed_stands_there_in_full(
        self, client: Client, sealed: Certificate
    ) -> None:
        page = sent(client, client.get(f"/C/{sealed.number}.json").content)

        assert "only what stands here was signed" in page
        assert facts_on(page) == {
            "Certificate number": format_number(sealed.number),
            "Name": sealed.evaluation.dog.name,
            "Breed": sealed.evaluation.dog.breed.name,
            "Sex": "Female",
            "Born": "15 January 2023",
            "Colour": "brown",
            "Chip ends in": (sealed.evaluation.dog.chip or "")[-6:],
            "Examined": "2 October 2026",
            "Clinic": f"{sealed.evaluation.clinic.name}, Tarnby",
            "Certificate issued": dates.day(timezone.localtime(sealed.issued_at)),
            "Hip laxity, left": "0.31",
            "Hip laxity, right": "0.35",
            "Hip laxity, among the other tested dogs that day": "0 better, 0 the same, 0 worse",
        }  # fmt: skip

    def test_what_was_changed_is_not_repeated(self, client: Client, sealed: Certificate) -> None:
        found = read_json(client, f"/C/{sealed.number}.json")
        found["credentialSubject"]["name"] = "Another Dog"

        page = sent(client, json.dumps(found).encode())

        assert "Another Dog" not in page
        assert facts_on(page) == {}

    def test_results_that_the_owner_took_back_are_not_repeated(
        self, client: Client, sealed: Certificate
    ) -> None:
        file = client.get(f"/C/{sealed.number}.json").content
        consent.change_consent(
            by=Actor.system(), evaluation_id=sealed.evaluation.public_id, publish=False
        )

        page = sent(client, file)

        assert "result not released" in page
        assert "Certificate number" in facts_on(page)
        assert not any("Hip" in term for term in facts_on(page))


class TestCheckingPdfs:
    def test_a_pdf_is_checked_by_the_file_it_carries(
        self, client: Client, sealed: Certificate
    ) -> None:
        page = sent(client, client.get(f"/C/{sealed.number}.pdf").content, "juno.pdf")

        assert "Genuine and current" in page
        assert "This verdict is about the file in the PDF" in page
        assert facts_on(page)["Hip laxity, right"] == "0.35"

    def test_a_page_that_was_changed_around_its_file_shows_what_was_signed(
        self, client: Client, sealed: Certificate
    ) -> None:
        record = certificate_record(sealed.number)
        assert record is not None
        paper = certificate_paper(record)
        rows = tuple(replace(row, left="0.11", right="0.12", speaks="0.12") for row in paper.rows)
        forged = certificate_pdf(replace(paper, rows=rows, dog_name="Better Dog")).data
        with pdfium.PdfDocument(forged) as document:
            assert "0.11" in document[0].get_textpage().get_text_range()

        page = sent(client, forged, "forged.pdf")

        assert "only what stands here was signed" in page
        facts = facts_on(page)
        assert (facts["Hip laxity, left"], facts["Name"]) == (
            "0.31",
            sealed.evaluation.dog.name,
        )
        assert "0.11" not in page
        assert "Better Dog" not in page

    def test_a_file_changed_inside_a_pdf_is_not_genuine(
        self, client: Client, sealed: Certificate
    ) -> None:
        file = client.get(f"/C/{sealed.number}.json").content.replace(b'"0.31"', b'"0.11"')

        page = sent(client, attaching(stream(file)), "forged.pdf")

        assert "Not found" in page
        assert "this file was changed" in page

    @pytest.mark.parametrize(
        ("what", "words"),
        [
            ("no attachment at all", "This PDF carries no certificate file"),
            ("a password to open it", "protected by a password"),
            ("two files to choose from", "more than one such file"),
            ("the first 50%", "damaged or was cut short"),
            ("the same, packed twice", "far larger than a certificate"),
        ],
    )
    def test_one_that_cannot_be_checked_is_said_at_the_field_with_what_to_do(
        self, client: Client, what: str, words: str
    ) -> None:
        (content,) = (each.content for each in samples() if each.what == what)

        answer = client.post("/check/", {"file": SimpleUploadedFile("a.pdf", content)})

        page = answer.content.decode()
        assert answer.status_code == 400
        assert page.count(words) == 2
        assert "type the number from the paper" in page

    def test_while_another_is_read_it_is_asked_to_come_again(
        self, client: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(attachment, "_PATIENCE_SECONDS", 0.05)
        file = SimpleUploadedFile("a.pdf", attaching(stream(b"{}")))

        with attachment._READING:
            answer = client.post("/check/", {"file": file})

        assert answer.status_code == 503
        assert "Send yours again" in answer.content.decode()


def facts_on(page: str) -> dict[str, str]:
    """The terms of the page's list of facts with their values."""
    return dict(re.findall(r"<dt>([^<]+)</dt><dd>([^<]+)</dd>", page))
