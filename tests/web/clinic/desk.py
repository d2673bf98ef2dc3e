"""A nurse at the clinic's pages: signs in, fills in sections, and reads what the page says."""

from __future__ import annotations

import html
import re
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from registry.desk.drafts import start_draft
from registry.models import Dog, Draft
from tests.factories import Person

EXAMINATION = {
    "examined_on": "2 October 2026",
    "examiner": "Dr. Vera Oakhollow",
    "restraint": "sedation",
    "weight_kg": "18,5",
    "chip_read": "yes",
}
MEASUREMENTS = {"hip-laxity-left-value": "0.31", "hip-laxity-right-value": "0.35"}
OWNER = {"full_name": "Olga Reedmoor", "email": "olga@owner.example", "consent": "yes"}


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person.user)
    return client


def started(nurse: Person, dog: Dog) -> Draft:
    return start_draft(by=nurse.actor, dog_id=dog.public_id)


def at(name: str, draft: Draft) -> str:
    return reverse(f"clinic:{name}", args=[draft.public_id])


def keep(client: Client, draft: Draft, section: str, query: str = "", **boxes: Any) -> Any:
    """Open a section as a browser does, and send its form with these boxes."""
    page = client.get(at(section, draft))
    hidden = {name: value_of(page, name) for name in ("base", "seen")}
    return client.post(at(section, draft) + query, {**hidden, **boxes})


def fill(client: Client, draft: Draft) -> None:
    """Everything that is asked, without anything unusual."""
    for section, boxes in (
        ("examination", EXAMINATION),
        ("measurements", MEASUREMENTS),
        ("owner", OWNER),
    ):
        assert keep(client, draft, section, **boxes).status_code == 302


def value_of(response: Any, name: str) -> str:
    """The value of a box on the page."""
    found = re.search(rf'<input[^>]*name="{re.escape(name)}"[^>]*>', response.content.decode())
    assert found, f"no box {name}"
    value = re.search(r'value="([^"]*)"', found[0])
    return html.unescape(value[1]) if value else ""


def text_of(response: Any) -> str:
    """The page without its tags, white space folded."""
    plain = re.sub(r"<[^>]+>", " ", response.content.decode())
    return " ".join(html.unescape(plain).split())


def film(name: str = "hips.png", tail: bytes = b"one") -> SimpleUploadedFile:
    return upload(name, b"\x89PNG\r\n\x1a\n" + tail)


def upload(name: str, content: bytes) -> SimpleUploadedFile:
    """A file that its sender calls a picture, whatever is in it."""
    return SimpleUploadedFile(name, content, content_type="image/png")
