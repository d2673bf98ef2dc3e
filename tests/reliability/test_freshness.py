"""A revocation shows at once wherever a certificate is read, and no answer that says otherwise may
be kept for more than a minute, by a browser or by anything between."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from io import BytesIO
from math import inf
from pathlib import Path
from typing import Any

import pypdfium2 as pdfium
import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client

from registry.credential.certificate import is_marked, read
from registry.credential.status_list import TTL_MS
from registry.desk.log import publish_checkpoint
from registry.ledger.keys import verifier_keys
from registry.models import Certificate
from registry.telling.issuer import issuer
from tests.factories import make_accepted, make_club, make_revoked
from tests.reliability.numbers import counted, times
from tests.reliability.record import What

pytestmark = pytest.mark.django_db

# Django's test client has a type of its own for what it got.
Answer = Any
LONGEST_S = 60
MANY = times(soak=1_000, short=20)


def kept_s(answer: Answer) -> float:
    """For how many seconds an answer may be shown without asking again (RFC 9111, section 4.2;
    RFC 5861 for the two that allow a stale one); without a word of it, for as long as one likes."""
    header = answer.headers.get("Cache-Control", "")
    said = {name: value for name, _is, value in
            (part.strip().lower().partition("=") for part in header.split(","))}  # fmt: skip
    if "no-store" in said or "no-cache" in said:
        return 0
    ages = [float(said[name]) for name in ("max-age", "s-maxage") if name in said]
    stale = [float(said[name]) for name in ("stale-while-revalidate", "stale-if-error")
             if name in said]  # fmt: skip
    return max(ages) + sum(stale) if ages else inf


@pytest.mark.parametrize(
    ("header", "seconds"),
    [
        ("no-cache", 0),
        ("private, no-cache", 0),
        ("max-age=0, no-cache, no-store", 0),
        ("public, max-age=60", 60),
        ("max-age=10, s-maxage=600", 600),
        ("max-age=10, stale-while-revalidate=600", 610),
        ("public", inf),
        ("", inf),
    ],
)
def test_the_reading_of_the_header(header: str, seconds: float) -> None:
    assert kept_s(HttpResponse(headers={"Cache-Control": header} if header else {})) == seconds


@dataclass(frozen=True)
class Seen:
    """What five places said about one certificate."""

    page: Answer
    interface: Answer
    pdf: Answer
    file: Answer
    listed: Answer

    @property
    def answers(self) -> tuple[Answer, ...]:
        return self.page, self.interface, self.pdf, self.file, self.listed

    def states(self) -> dict[str, str]:
        """What each says, in one word; the file says nothing of what came after it."""
        words = {"Genuine and current": "genuine", "Revoked on": "revoked"}
        (page,) = (word for words_of, word in words.items()
                   if f"<span>{words_of}" in self.page.content.decode())  # fmt: skip
        with pdfium.PdfDocument(BytesIO(self.pdf.content)) as sheet:
            text = sheet[0].get_textpage().get_text_range()
        found = read(self.file.content, issuer(), verifier_keys())
        purpose, is_set = is_marked(found, self.listed.content, issuer())
        assert purpose == "revocation"
        return {
            "page": page,
            "interface": json.loads(self.interface.content)["verdict"],
            "pdf": "revoked" if re.search(r"Revoked on \d", text) else "genuine",
            "list": "revoked" if is_set else "genuine",
        }


def seen(client: Client, number: str) -> Seen:
    file = client.get(f"/C/{number}.json")
    addresses = [
        status["statusListCredential"]
        for status in json.loads(file.content)["credentialStatus"]
        if status["statusPurpose"] == "revocation"
    ]
    return Seen(
        page=client.get(f"/C/{number}"),
        interface=client.get(f"/api/v1/certificates/{number}"),
        pdf=client.get(f"/C/{number}.pdf"),
        file=file,
        listed=client.get(addresses[0].removeprefix(settings.SITE_URL)),
    )


EVERYWHERE = ("page", "interface", "pdf", "list")


def test_a_revocation_shows_everywhere_in_the_next_answer() -> None:
    club = make_club()
    with counted(What.REVOCATIONS) as count:
        for turn in range(MANY):
            # Another reader each time: the interface answers one address so often an hour.
            client = Client(REMOTE_ADDR=f"10.0.{turn // 250}.{turn % 250}")
            certificate = make_accepted(club)
            publish_checkpoint()
            # Read before, so that whatever is remembered is remembered now.
            before = seen(client, certificate.number)
            make_revoked(club, certificate.evaluation.public_id, reason="the films were swapped")

            after = seen(client, certificate.number)

            count.done += 1
            assert before.states() == dict.fromkeys(EVERYWHERE, "genuine")
            assert after.states() == dict.fromkeys(EVERYWHERE, "revoked")
            assert max(map(kept_s, (*before.answers, *after.answers))) <= LONGEST_S
            _assert_nothing_old_is_called_fresh(client, certificate, before)
    assert count.done == MANY


def _assert_nothing_old_is_called_fresh(
    client: Client, certificate: Certificate, before: Seen
) -> None:
    """Whoever kept an answer and asks if it still holds is given the new one; and a file that was
    saved while it held is called revoked now."""
    number = certificate.number
    for path, old in {
        f"/C/{number}": before.page,
        f"/api/v1/certificates/{number}": before.interface,
        f"/C/{number}.pdf": before.pdf,
    }.items():
        again = client.get(path, headers={"If-None-Match": old.headers["ETag"]})
        assert again.status_code == 200, path
    saved = SimpleUploadedFile("saved.json", before.file.content)
    assert "<span>Revoked on" in client.post("/check/", {"file": saved}).content.decode()


def test_a_list_says_itself_how_long_it_may_be_kept(client: Client) -> None:
    certificate = make_accepted(make_club())

    listed = seen(client, certificate.number).listed

    assert TTL_MS <= LONGEST_S * 1000
    assert json.loads(listed.content)["credentialSubject"]["ttl"] == TTL_MS
    assert kept_s(listed) * 1000 <= TTL_MS


def test_a_verdict_on_a_file_is_not_kept_at_all(client: Client) -> None:
    certificate = make_accepted(make_club())
    file = SimpleUploadedFile("c.json", seen(client, certificate.number).file.content)

    assert "no-store" in client.post("/check/", {"file": file}).headers["Cache-Control"]


@pytest.mark.parametrize("path", ["/C/{}", "/api/v1/certificates/{}"])
def test_that_there_is_none_is_not_kept_either(client: Client, path: str) -> None:
    answer = client.get(path.format("0000000000"))

    assert answer.status_code == 404
    assert kept_s(answer) == 0


def test_the_shipped_proxy_keeps_nothing_and_leaves_the_headers_alone() -> None:
    lines = (Path(settings.BASE_DIR) / "deploy" / "Caddyfile").read_text("utf-8").splitlines()
    directives = " ".join(line for line in lines if not line.strip().startswith("#")).lower()

    assert "reverse_proxy" in directives
    assert not re.search(r"cache|max-age|expires|header_down", directives)
