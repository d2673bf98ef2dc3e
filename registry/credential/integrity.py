"""Data Integrity proofs with the cryptosuite eddsa-jcs-2022 (W3C, Data Integrity EdDSA
Cryptosuites 1.0, section 3.3): RFC 8785 text, SHA-256, Ed25519.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from registry.credential.multikey import from_multibase, multibase

SUITE = "eddsa-jcs-2022"
_SIGNATURE_BYTES = 64

Document = Mapping[str, Any]


class ProofProblem(ValueError):
    """A document that its proof does not vouch for; says why in one sentence."""


def signed(
    document: Document, key: Ed25519PrivateKey, *, method: str, created: datetime
) -> dict[str, Any]:
    """The document with a proof by the key, whose address is ``method``; ``created`` is aware."""
    options: dict[str, Any] = {
        "type": "DataIntegrityProof",
        "cryptosuite": SUITE,
        "created": created.strftime("%Y-%m-%dT%H:%M:%SZ"),
        "verificationMethod": method,
        "proofPurpose": "assertionMethod",
        "@context": document["@context"],
    }
    signature = key.sign(_hashed(document, options))
    return {**document, "proof": {**options, "proofValue": multibase(signature)}}


def parsed(data: bytes, *, most_bytes: int) -> dict[str, Any]:
    """The JSON object of a file; raises ProofProblem for what is none."""
    if len(data) > most_bytes:
        raise ProofProblem("This file is far larger than a certificate.")
    try:
        found = json.loads(data.decode("utf-8"), object_pairs_hook=_unique)
    except (ValueError, RecursionError) as error:
        raise ProofProblem("This file is no certificate: it is not JSON.") from error
    if not isinstance(found, dict):
        raise ProofProblem("This file is no certificate.")
    return found


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object; one that says the same name twice could say two things to two readers."""
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name is doubled")
    return found


def method_of(document: Document) -> str:
    """The address of the key that the proof names; raises ProofProblem for another kind of
    proof."""
    proof = document.get("proof")
    if not isinstance(proof, dict):
        raise ProofProblem("There is no proof in this file.")
    if proof.get("type") != "DataIntegrityProof" or proof.get("cryptosuite") != SUITE:
        raise ProofProblem("This file has a proof of another kind.")
    if proof.get("proofPurpose") != "assertionMethod":
        raise ProofProblem("The proof of this file was made for another purpose.")
    method = proof.get("verificationMethod")
    if not isinstance(method, str):
        raise ProofProblem("The proof of this file names no key.")
    return method


def check(document: Document, public: bytes) -> None:
    """Raise ProofProblem unless the key has signed just this document."""
    proof = dict(document["proof"])
    value = proof.pop("proofValue", None)
    unsigned = {name: member for name, member in document.items() if name != "proof"}
    # The proof may repeat the beginning of the document's context; it may not bring another.
    context = proof.get("@context", unsigned.get("@context"))
    if context != unsigned.get("@context"):
        raise ProofProblem("The proof of this file is for a document of another kind.")
    try:
        signature = from_multibase(value) if isinstance(value, str) else b""
        if len(signature) != _SIGNATURE_BYTES:
            raise ProofProblem("The signature of this file cannot be read.")
        Ed25519PublicKey.from_public_bytes(public).verify(signature, _hashed(unsigned, proof))
    except InvalidSignature as error:
        raise ProofProblem("The signature does not fit: this file was changed.") from error
    except (ValueError, RecursionError) as error:
        if isinstance(error, ProofProblem):
            raise
        raise ProofProblem("The signature of this file cannot be read.") from error


def _hashed(document: Document, options: Document) -> bytes:
    """What is signed: the hash of the options, then that of the document."""
    return b"".join(
        hashlib.sha256(rfc8785.dumps(dict(part))).digest() for part in (options, document)
    )
