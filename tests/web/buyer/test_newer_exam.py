"""A certificate's page tells each time another exam of the dog changed what counts of it."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from registry.models import Certificate
from tests import factories
from tests.factories import Club

pytestmark = pytest.mark.django_db

TOOK = "A newer exam took its place"
PART = "A newer exam counts for a part of it"
NOW = "It counts now, as a newer exam no longer does"
LAXITY = [
    {"trait": "hip-laxity", "side": "left", "value": "0.31"},
    {"trait": "hip-laxity", "side": "right", "value": "0.35"},
]
ANGLE = [
    {"trait": "norberg-angle", "side": "left", "value": "105"},
    {"trait": "norberg-angle", "side": "right", "value": "104"},
]


@pytest.fixture
def club() -> Club:
    return factories.make_club()


@pytest.fixture
def older(club: Club) -> Certificate:
    return factories.make_accepted(club, readings=[*LAXITY, *ANGLE])


def newer(club: Club, older: Certificate, day: str, **members: object) -> Certificate:
    return factories.make_accepted(club, older.evaluation.dog, examined_on=day, **members)


def told(client: Client, certificate: Certificate) -> list[str]:
    """The turns of the certificate's page, the newest first."""
    page = " ".join(client.get(f"/C/{certificate.number}").content.decode().split())
    return re.findall(f"{TOOK}|{PART}|{NOW}", page)


def test_a_certificate_of_its_own_has_none(client: Client, older: Certificate) -> None:
    assert told(client, older) == []


def test_one_that_was_overtaken_and_counts_again_tells_both(
    client: Client, club: Club, older: Certificate
) -> None:
    other = newer(club, older, "2026-10-20", readings=[*LAXITY, *ANGLE])
    assert told(client, older) == [TOOK]

    factories.make_revoked(club, other.evaluation.public_id)

    assert told(client, older) == [NOW, TOOK]
    newer(club, older, "2026-10-21", readings=[*LAXITY, *ANGLE])
    assert told(client, older) == [TOOK, NOW, TOOK]


def test_one_that_was_overtaken_in_part_says_so(
    client: Client, club: Club, older: Certificate
) -> None:
    newer(club, older, "2026-10-20", readings=LAXITY)

    assert told(client, older) == [PART]


def test_one_that_was_overtaken_still_says_so_once_it_is_revoked(
    client: Client, club: Club, older: Certificate
) -> None:
    newer(club, older, "2026-10-20", readings=[*LAXITY, *ANGLE])

    factories.make_revoked(club, older.evaluation.public_id)

    assert told(client, older) == [TOOK]


def test_an_older_exam_that_came_later_tells_when_it_begins_to_count(
    client: Client, club: Club, older: Certificate
) -> None:
    late = newer(club, older, "2026-09-20", readings=[*LAXITY, *ANGLE])
    assert told(client, late) == []

    factories.make_revoked(club, older.evaluation.public_id)

    assert told(client, late) == [NOW]


def test_the_own_revocation_is_no_newer_exam(
    client: Client, club: Club, older: Certificate
) -> None:
    factories.make_revoked(club, older.evaluation.public_id)

    assert told(client, older) == []
