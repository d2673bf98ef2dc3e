"""The tree and the signatures of the public log, against the vectors of their standards."""

from __future__ import annotations

import base64

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from registry.ledger import tree
from registry.ledger.checkpoints import Checkpoint, VerifierKey, open_note
from tests.published.cases import topic

CASES = topic("standards")
LEAVES = [
    tree.leaf_hash(bytes.fromhex(text)) for text in CASES["merkle-roots"]["inputs"]["leaves_hex"]
]
SIGNED = ["ed25519-1", "ed25519-2", "ed25519-3"]


@pytest.mark.parametrize("size", range(9))
def test_a_root_is_as_published(size: int) -> None:
    # RFC 6962 s2.1 / RFC 9162 s2.1 and the eight-leaf reference set, confirmed.
    expected = CASES["merkle-roots"]["expected"]["roots"][str(size)]

    assert tree.root(tree.nodes_over(LEAVES), size).hex() == expected


def test_an_audit_path_is_as_published() -> None:
    # RFC 9162 s2.1.3 and the eight-leaf reference set, confirmed.
    case = CASES["merkle-inclusion-0-8"]

    path = tree.inclusion_path(tree.nodes_over(LEAVES), **case["inputs"])

    assert [each.hex() for each in path] == case["expected"]["path"]


@pytest.mark.parametrize("case_id", SIGNED)
def test_a_signature_is_as_published(case_id: str) -> None:
    # RFC 8032 s7.1, confirmed.
    case = CASES[case_id]
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(case["inputs"]["secret"]))

    assert key.public_key().public_bytes_raw().hex() == case["expected"]["public"]
    signature = key.sign(bytes.fromhex(case["inputs"]["message"]))
    assert signature.hex() == case["expected"]["signature"]


@pytest.mark.parametrize("part", ["message", "public", "signature"])
def test_one_flipped_bit_is_refused(part: str) -> None:
    case = CASES["ed25519-3"]
    parts = {
        "message": bytearray.fromhex(case["inputs"]["message"]),
        "public": bytearray.fromhex(case["expected"]["public"]),
        "signature": bytearray.fromhex(case["expected"]["signature"]),
    }
    parts[part][0] ^= 1

    with pytest.raises((InvalidSignature, ValueError)):
        Ed25519PublicKey.from_public_bytes(bytes(parts["public"])).verify(
            bytes(parts["signature"]), bytes(parts["message"])
        )


def test_a_signed_note_opens_with_its_published_key() -> None:
    # C2SP signed-note, the specification's example.
    case = CASES["signed-note"]
    key = VerifierKey.parse(case["inputs"]["key"])

    assert open_note(case["inputs"]["note"], [key]) == case["expected"]["text"]
    assert key.text == case["inputs"]["key"]


def test_a_checkpoint_has_its_published_form() -> None:
    # C2SP tlog-checkpoint, the specification's example.
    case = CASES["checkpoint-form"]
    given = case["inputs"]

    checkpoint = Checkpoint(given["origin"], given["size"], base64.b64decode(given["root"]))

    assert checkpoint.text == case["expected"]["text"]
    assert Checkpoint.parse(checkpoint.text) == checkpoint
