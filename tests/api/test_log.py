"""Whoever keeps a checkpoint can check places and growth by the interface alone."""

from __future__ import annotations

import base64
from typing import Any

import pytest
from django.test import Client

from registry.desk.log import publish_checkpoint
from registry.ledger import tree
from registry.ledger.checkpoints import Checkpoint, VerifierKey, open_note
from registry.models import LogCheckpoint
from tests.factories import Club, make_club, make_dog

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def read(client: Client, path: str) -> dict[str, Any]:
    answer = client.get(f"/api/v1/log{path}")
    assert answer.status_code == 200, answer.content
    found: dict[str, Any] = answer.json()
    return found


def hashes(texts: list[str]) -> list[bytes]:
    return [base64.b64decode(text) for text in texts]


def sealed(client: Client) -> Checkpoint:
    found = read(client, "")
    key = VerifierKey.parse(found["verifier_key"])
    return Checkpoint.parse(open_note(found["checkpoint"]["note"], [key]))


def test_without_a_checkpoint_there_is_none_and_nothing_to_prove(client: Client) -> None:
    assert read(client, "")["checkpoint"] is None
    assert client.get("/api/v1/log/inclusion?entry=1").status_code == 404


def test_every_entry_is_proved_to_be_in_the_tree(client: Client, club: Club) -> None:
    make_dog(club)
    publish_checkpoint()
    checkpoint = sealed(client)

    for entry in range(1, checkpoint.size + 1):
        proof = read(client, f"/inclusion?entry={entry}")
        (leaf,) = hashes([proof["leaf"]])
        assert tree.is_included(
            leaf, entry - 1, proof["size"], hashes(proof["path"]), checkpoint.root
        )


def test_growth_is_proved_between_two_kept_checkpoints(client: Client, club: Club) -> None:
    publish_checkpoint()
    first = sealed(client)
    make_dog(club)
    publish_checkpoint()
    second = sealed(client)

    proof = read(client, f"/consistency?from={first.size}&to={second.size}")

    assert first.size < second.size
    assert tree.is_continued(
        first.size, first.root, second.size, second.root, hashes(proof["path"])
    )


def test_an_earlier_tree_can_still_be_asked_for(client: Client, club: Club) -> None:
    publish_checkpoint()
    first = sealed(client)
    make_dog(club)
    publish_checkpoint()

    proof = read(client, f"/inclusion?entry=2&size={first.size}")

    (leaf,) = hashes([proof["leaf"]])
    assert tree.is_included(leaf, 1, first.size, hashes(proof["path"]), first.root)


def test_what_is_not_signed_yet_is_not_proved(client: Client, club: Club) -> None:
    publish_checkpoint()
    make_dog(club)
    size = LogCheckpoint.objects.get().size

    assert client.get(f"/api/v1/log/inclusion?entry={size + 1}").status_code == 404
    assert client.get(f"/api/v1/log/inclusion?entry=1&size={size + 1}").status_code == 404
    assert client.get(f"/api/v1/log/consistency?from={size + 1}").status_code == 404


@pytest.mark.parametrize("value", ["", "0", "-1", "1.5", "x", "٣", "9" * 16])
def test_what_is_no_count_is_named(client: Client, value: str) -> None:
    for path in (f"inclusion?entry={value}", f"consistency?from={value}", "inclusion"):
        answer = client.get(f"/api/v1/log/{path}")

        assert answer.status_code == 400
        assert answer.headers["Content-Type"] == "application/problem+json"


def test_a_proof_is_small(client: Client, club: Club) -> None:
    for _number in range(30):
        make_dog(club)
    publish_checkpoint()

    size = read(client, "")["checkpoint"]["size"]
    content = client.get(f"/api/v1/log/inclusion?entry={size // 2}").content

    # 17 steps lead through 100,000 entries; each is 44 letters, two quotes and a comma.
    steps = len(read(client, f"/inclusion?entry={size // 2}")["path"])
    assert len(content) + (17 - steps) * 47 <= 1024
