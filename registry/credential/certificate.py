"""A certificate as a W3C Verifiable Credential (Data Model 2.0), and how one is read again.

The document says what the printed sheet says, as text and whole numbers, so that its RFC 8785 form
is never in doubt. Its evidence is the line of the public log that records the issue, with the path
to a signed checkpoint.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from registry.credential.integrity import Document, ProofProblem, check, method_of, parsed
from registry.credential.status_list import is_set
from registry.ledger.checkpoints import Checkpoint, NoteProblem, VerifierKey, open_note
from registry.ledger.tree import is_included, leaf_hash

TYPE = "JointEvaluationCertificate"
BASE_CONTEXT = "https://www.w3.org/ns/credentials/v2"
MOST_BYTES = 64 * 1024
MOST_LIST_BYTES = 256 * 1024
PURPOSES = ("revocation", "refresh")
"""``refresh`` marks a certificate that a newer one has replaced."""


@dataclass(frozen=True, slots=True)
class Issuer:
    """The club: its address as an issuer, its name, and its keys by their addresses."""

    address: str
    name: str
    keys: Mapping[str, bytes]


@dataclass(frozen=True, slots=True)
class LogEvidence:
    """The line of the log that records the issue: its text, and the path to a signed root."""

    body: str
    path: tuple[bytes, ...]
    note: str


@dataclass(frozen=True, slots=True)
class CertificateFacts:
    """What a certificate states: finished text by name, no person among it."""

    context_address: str
    number: str
    address: str
    issued: str
    dog_address: str
    dog: Mapping[str, str]
    examination: Mapping[str, str]
    readings: tuple[Mapping[str, str], ...]
    standing: Mapping[str, Any]
    status_address: str
    status_place: int
    evidence: LogEvidence | None


@dataclass(frozen=True, slots=True)
class ReadCertificate:
    """A file that the club did sign: what it says, and how many lines its log had then, if it
    says."""

    number: str
    dog_address: str
    document: Document
    log_size: int | None


def document(facts: CertificateFacts, issuer: Issuer) -> dict[str, Any]:
    """The credential, yet unsigned."""
    made: dict[str, Any] = {
        "@context": [BASE_CONTEXT, facts.context_address],
        "id": facts.address,
        "type": ["VerifiableCredential", TYPE],
        "issuer": {"id": issuer.address, "name": issuer.name},
        "validFrom": facts.issued,
        "credentialSubject": {
            "id": facts.dog_address,
            **facts.dog,
            "certificateNumber": facts.number,
            "examination": dict(facts.examination),
            "readings": [dict(reading) for reading in facts.readings],
            "standingAsIssued": dict(facts.standing),
        },
        "credentialStatus": [
            {
                "id": f"{facts.status_address.format(purpose=purpose)}#{facts.status_place}",
                "type": "BitstringStatusListEntry",
                "statusPurpose": purpose,
                "statusListIndex": str(facts.status_place),
                "statusListCredential": facts.status_address.format(purpose=purpose),
            }
            for purpose in PURPOSES
        ],
    }
    if facts.evidence is not None:
        made["evidence"] = [
            {
                "type": "LogInclusion",
                "entry": facts.evidence.body,
                "path": [base64.b64encode(step).decode() for step in facts.evidence.path],
                "checkpoint": facts.evidence.note,
            }
        ]
    return made


def read(data: bytes, issuer: Issuer, log_keys: list[VerifierKey]) -> ReadCertificate:
    """Check a file without asking any server; raises ProofProblem with the reason in a sentence."""
    found = by_the_club(data, issuer, most_bytes=MOST_BYTES)
    subject = found.get("credentialSubject")
    if TYPE not in found.get("type", ()) or not isinstance(subject, dict):
        raise ProofProblem("The club has signed this file, but it is no certificate.")
    sizes = [_log_size(each, subject, log_keys) for each in found.get("evidence", ())]
    return ReadCertificate(
        number=str(subject["certificateNumber"]),
        dog_address=str(subject["id"]),
        document=found,
        log_size=sizes[0] if sizes else None,
    )


def by_the_club(data: bytes, issuer: Issuer, *, most_bytes: int) -> dict[str, Any]:
    """A document that a key of the club has signed; raises ProofProblem."""
    found = parsed(data, most_bytes=most_bytes)
    method = method_of(found)
    if method not in issuer.keys:
        raise ProofProblem("This file is signed by somebody else than the club.")
    check(found, issuer.keys[method])
    named = found.get("issuer")
    if not isinstance(named, dict) or named.get("id") != issuer.address:
        raise ProofProblem("This file names another issuer than the club.")
    return found


def is_marked(found: ReadCertificate, list_data: bytes, issuer: Issuer) -> tuple[str, bool]:
    """A status list's purpose, and whether it marks the certificate; raises ProofProblem."""
    listed = by_the_club(list_data, issuer, most_bytes=MOST_LIST_BYTES)
    subject, address = listed.get("credentialSubject"), listed.get("id")
    for status in found.document["credentialStatus"]:
        if status["statusListCredential"] == address and isinstance(subject, dict):
            try:
                place = int(status["statusListIndex"])
                return status["statusPurpose"], is_set(str(subject.get("encodedList")), place)
            except ValueError as error:
                raise ProofProblem("The status list cannot be read.") from error
    raise ProofProblem("This status list is not one that the certificate names.")


def number_named(data: bytes) -> tuple[str, str]:
    """Number and dog's address that a file names, believed or not; empty where it names none."""
    try:
        subject = parsed(data, most_bytes=MOST_BYTES).get("credentialSubject")
    except ProofProblem:
        return "", ""
    if not isinstance(subject, dict):
        return "", ""
    return str(subject.get("certificateNumber", ""))[:40], str(subject.get("id", ""))[:200]


def _log_size(evidence: Any, subject: Document, keys: list[VerifierKey]) -> int:
    """The entries of the checkpoint under which the issue was logged, all of it checked."""
    try:
        checkpoint = Checkpoint.parse(open_note(evidence["checkpoint"], keys))
        body = json.loads(evidence["entry"])
        path = [base64.b64decode(step, validate=True) for step in evidence["path"]]
        leaf, index = leaf_hash(evidence["entry"].encode()), int(body["seq"]) - 1
        values = body["values"]
        same_number = values["certificate"]["to"] == subject["certificateNumber"]
        same_standing = values["standing"]["to"] == subject["standingAsIssued"]
    except NoteProblem as problem:
        raise ProofProblem(str(problem)) from problem
    except (KeyError, TypeError, ValueError, binascii.Error) as error:
        raise ProofProblem("The file's line of the log cannot be read.") from error
    if not is_included(leaf, index, checkpoint.size, path, checkpoint.root):
        raise ProofProblem("The file's line is not in the club's log.")
    if not (same_number and same_standing):
        raise ProofProblem("The file's line of the log is about another certificate.")
    return checkpoint.size
