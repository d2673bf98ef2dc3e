"""The signatures of certificates, against the vectors of their standard."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from registry.credential.integrity import ProofProblem, check, method_of, signed
from registry.credential.multikey import from_multibase, from_multikey, multikey
from tests.published.cases import topic

# W3C, Data Integrity EdDSA Cryptosuites 1.0, appendix B, confirmed.
CASE = topic("standards")["eddsa-jcs-2022"]
GIVEN = CASE["inputs"]
SIGNED: dict[str, Any] = {**GIVEN["document"], "proof": CASE["expected"]["proof"]}


def test_the_published_document_is_signed_as_published() -> None:
    # A secret Multikey carries two bytes of prefix before the 32 of the seed.
    key = Ed25519PrivateKey.from_private_bytes(from_multibase(GIVEN["secret_multikey"])[2:])
    created = datetime.strptime(GIVEN["created"], "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
    method = CASE["expected"]["proof"]["verificationMethod"]

    assert signed(GIVEN["document"], key, method=method, created=created) == SIGNED


def test_the_published_proof_is_good() -> None:
    check(SIGNED, from_multikey(GIVEN["public_multikey"]))

    assert method_of(SIGNED) == CASE["expected"]["proof"]["verificationMethod"]


def test_a_key_reads_and_writes_as_published() -> None:
    assert multikey(from_multikey(GIVEN["public_multikey"])) == GIVEN["public_multikey"]


@pytest.mark.parametrize("member", ["id", "name", "issuer", "validFrom"])
def test_a_changed_document_is_refused(member: str) -> None:
    with pytest.raises(ProofProblem, match="was changed"):
        check({**SIGNED, member: "x"}, from_multikey(GIVEN["public_multikey"]))


def test_a_changed_proof_is_refused() -> None:
    proof = {**SIGNED["proof"], "created": "2023-02-24T23:36:39Z"}

    with pytest.raises(ProofProblem, match="was changed"):
        check({**SIGNED, "proof": proof}, from_multikey(GIVEN["public_multikey"]))
