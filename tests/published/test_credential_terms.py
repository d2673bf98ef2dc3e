"""Every name in a certificate is defined: by the standard's own context, or by the club's."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

import pytest
import rfc8785

from registry.credential.context import (
    LATEST,
    TERMS,
    VERSIONS,
    context_document,
    path_of,
    version_of,
)
from registry.desk.log import publish_checkpoint
from registry.queries.public import certificate_record
from registry.telling.credentials import credential, status_credential
from registry.telling.vocabulary import told_terms
from tests.factories import make_accepted, make_club

# W3C, Verifiable Credentials Data Model 2.0 (Recommendation of 15 May 2025), appendix B.1: the
# context at https://www.w3.org/ns/credentials/v2. Only names that the files use; those that a
# type brings hold in objects of that type alone (JSON-LD 1.1, section 4.1.9: type-scoped contexts
# do not propagate).
EVERYWHERE = {"id", "type", "name"}
TYPES = {
    "VerifiableCredential": {
        "issuer", "validFrom", "credentialSubject", "credentialStatus", "evidence", "proof",
    },
    "BitstringStatusListEntry": {"statusPurpose", "statusListIndex", "statusListCredential"},
    "BitstringStatusListCredential": set[str](),
    "BitstringStatusList": {"statusPurpose", "ttl", "encodedList"},
    "DataIntegrityProof": {
        "cryptosuite", "created", "verificationMethod", "proofPurpose", "proofValue",
    },
}  # fmt: skip
# JSON-LD 1.1, section 1.7: a keyword, no term.
KEYWORDS = {"@context"}


def undefined(node: Any, *, ours: set[str], at: str = "") -> Iterator[str]:
    """Names and types that neither context defines, with where they stand."""
    if isinstance(node, list):
        for each in node:
            yield from undefined(each, ours=ours, at=at)
    if not isinstance(node, dict):
        return
    types = node.get("type", [])
    types = [types] if isinstance(types, str) else types
    yield from (f"{at}: type {each}" for each in types if each not in TYPES.keys() | ours)
    scoped = set[str]().union(*(TYPES.get(each, set()) for each in types))
    for name, value in node.items():
        if name not in EVERYWHERE | scoped | ours | KEYWORDS:
            yield f"{at}/{name}"
        # Members of an index map are named by what they are about (JSON-LD 1.1, section 4.6.1).
        is_index = ours and TERMS.get(name, {}).get("@container") == "@index"
        inner = list(value.values()) if is_index else value
        yield from undefined(inner, ours=ours, at=f"{at}/{name}")


@pytest.fixture
def file(db: None) -> dict[str, Any]:
    """A certificate with all that one can have: a standing, and its line of the log."""
    certificate = make_accepted(make_club())
    publish_checkpoint()
    record = certificate_record(certificate.number)
    assert record is not None
    made = credential(record)
    assert made["credentialSubject"]["standingAsIssued"]
    assert made["evidence"]
    return made


def test_every_name_in_a_certificate_is_defined(file: dict[str, Any]) -> None:
    assert list(undefined(file, ours=set(TERMS))) == []


def test_the_walk_would_see_a_name_that_is_not(file: dict[str, Any]) -> None:
    without = set(TERMS) - {"chipEnd", "LogInclusion", "first_month"}
    file["credentialSubject"]["statusPurpose"] = "x"

    assert set(undefined(file, ours=without)) == {
        "/credentialSubject/chipEnd",
        "/credentialSubject/statusPurpose",
        "/credentialSubject/standingAsIssued/first_month",
        "/evidence: type LogInclusion",
    }


def test_a_status_list_needs_the_standards_context_alone(file: dict[str, Any]) -> None:
    assert list(undefined(status_credential("revocation", 0), ours=set())) == []


def test_the_file_names_both_contexts_and_the_standards_first(file: dict[str, Any]) -> None:
    # Data Model 2.0, section 4.3: the base context is the first.
    assert file["@context"] == [
        "https://www.w3.org/ns/credentials/v2",
        f"http://127.0.0.1:8000{path_of(LATEST)}",
    ]


def test_no_name_of_the_standard_is_defined_anew() -> None:
    # They are protected: a context that tries is an error (JSON-LD 1.1, section 4.1.11).
    assert not TERMS.keys() & set[str](EVERYWHERE | KEYWORDS).union(TYPES, *TYPES.values())


def test_no_name_is_defined_that_no_file_uses(file: dict[str, Any]) -> None:
    text = str(file)

    assert {name for name in VERSIONS[LATEST] if f"'{name}'" not in text} == set()


def test_a_file_names_the_version_it_is_written_in() -> None:
    # In the first version the dog itself was one of the n.
    assert version_of([{"better": 3, "equal": 1, "worse": 4, "n": 8}]) == 1
    assert version_of([{"better": 3, "equal": 0, "worse": 4, "others": 7}]) == 2
    assert version_of([]) == 1


def test_every_name_has_its_words() -> None:
    assert [term.name for term in told_terms()] == list(TERMS)


@pytest.mark.parametrize(
    ("version", "digest"),
    [
        (1, "ca24f595a4031f04b83c89bca3663bbda295ceed0d6836a5c6d6d2d6b5ba473a"),
        (2, "945bd7623f7a3648769537d9ec5aebbf2093333c9f4a00d87de8fdb1fa19a962"),
    ],
)
def test_a_published_version_is_what_it_was(version: int, digest: str) -> None:
    # Signed files name these versions. Another meaning of a name makes another version.
    made = rfc8785.dumps(context_document("https://club.example", version=version))

    assert hashlib.sha256(made).hexdigest() == digest
