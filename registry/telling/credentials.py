"""A certificate as a file that proves itself, the status lists beside it, and what a file is worth.

The file tells what held when the certificate was issued and is the same to the byte once its issue
is sealed in the log; what became of it since, the status lists and the verdict say. One made once
the certificate is revoked leaves the readings out, as its page does; files saved before hold them.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _

from registry.credential import context, status_list
from registry.credential.certificate import (
    CertificateFacts,
    LogEvidence,
    ReadCertificate,
    document,
    number_named,
    read,
)
from registry.credential.integrity import ProofProblem, signed
from registry.ledger.keys import verifier_keys
from registry.models import State
from registry.queries.history import changes_of_evaluation
from registry.queries.public import CertificateRecord, certificate_record
from registry.queries.public_log import sealed_issue
from registry.queries.status import places_of, status_place
from registry.science.numbers import NumberProblem, parse_number
from registry.telling.facts import Fact
from registry.telling.issuer import issuer, method, signing_key
from registry.telling.signed import signed_facts
from registry.telling.verdicts import verdict_on
from registry.wording.verdicts import Verdict, not_found, other_dog

_STATES = {"revocation": State.REVOKED, "refresh": State.REPLACED}


@dataclass(frozen=True, slots=True)
class FileVerdict:
    """What a file is worth; ``record`` is the certificate it stands for, None for none.

    ``facts`` are what the club signed, empty where it signed nothing. ``besides`` says what is
    wrong with the file itself where the certificate of its number is revoked.
    """

    verdict: Verdict
    record: CertificateRecord | None
    log_size: int | None = None
    facts: tuple[Fact, ...] = ()
    besides: tuple[str, ...] = ()


def credential(record: CertificateRecord) -> dict[str, Any]:
    """The signed file of a certificate whose readings may be shown."""
    issue = sealed_issue(dog_id=record.dog.public_id, number=record.number)
    place = status_place(record.number)
    block, bit = divmod(place, status_list.LENGTH)
    facts = CertificateFacts(
        context_address=settings.SITE_URL
        + context.path_of(context.version_of(record.as_issued.values())),
        number=record.number,
        address=f"{settings.SITE_URL}/C/{record.number}",
        issued=_instant(record.issued_at),
        dog_address=_dog_address(record.dog.public_id),
        dog=_dog(record),
        examination={
            "examinedOn": record.examined_on.isoformat(),
            "clinic": record.clinic,
            "town": record.clinic_town,
        },
        readings=tuple(
            {
                "trait": found.trait.slug,
                "name": found.trait.name,
                "side": side,
                "value": found.trait.value_text(step),
            }
            for found in record.readings
            for side, step in found.steps.items()
        ),
        standing=record.as_issued,
        status_address=f"{settings.SITE_URL}/status/{{purpose}}/{block}",
        status_place=bit,
        evidence=LogEvidence(issue.body, issue.path, issue.note) if issue else None,
    )
    created = issue.sealed_at if issue else record.issued_at
    return signed(document(facts, issuer()), signing_key(), method=method(), created=created)


def credential_text(record: CertificateRecord) -> bytes:
    """The file as it is handed out: JSON, indented, so that a person can read it too."""
    return (json.dumps(credential(record), ensure_ascii=False, indent=2) + "\n").encode()


def status_credential(purpose: str, block: int) -> dict[str, Any]:
    """A status list as of this moment, signed; raises KeyError for an unknown purpose."""
    club, now = issuer(), timezone.now()
    unsigned = status_list.document(
        address=f"{settings.SITE_URL}/status/{purpose}/{block}",
        issuer={"id": club.address, "name": club.name},
        purpose=purpose,
        valid_from=_instant(now),
        places=places_of(_STATES[purpose], block=block, length=status_list.LENGTH),
    )
    return signed(unsigned, signing_key(), method=method(), created=now)


def verdict_on_file(data: bytes) -> FileVerdict:
    """One of the six verdicts on a file that somebody holds: signature, log and register
    together."""
    try:
        found = read(data, issuer(), verifier_keys())
    except ProofProblem as problem:
        return _on_a_file_that_fails(data, str(problem))
    return _on_a_genuine_file(found)


def _on_a_genuine_file(found: ReadCertificate) -> FileVerdict:
    record = certificate_record(found.number)
    if record is None:
        # Signed by the club, and not in its register: the register has been put back or rewritten.
        missing = _("The club signed this file, but its register does not know it. Ask the club.")
        return FileVerdict(not_found(missing), None, found.log_size)
    verdict = verdict_on(record, changes_of_evaluation(record.evaluation_id))
    facts = signed_facts(found.document, with_results=verdict.kind != "not-released")
    return FileVerdict(verdict, record, found.log_size, facts)


def _on_a_file_that_fails(data: bytes, why: str) -> FileVerdict:
    typed, dog_address = number_named(data)
    try:
        record = certificate_record(parse_number(typed))
    except NumberProblem:
        record = None
    if record is not None and dog_address and dog_address != _dog_address(record.dog.public_id):
        verdict = other_dog(_("another dog"), record.dog.name)
    else:
        advice = _("Type the number on this site and compare.") if record is not None else ""
        verdict = not_found(" ".join(filter(None, (_(why), advice))))
    if record is None:
        return FileVerdict(verdict, None)
    return _unless_over(record, verdict)


def _unless_over(record: CertificateRecord, verdict: Verdict) -> FileVerdict:
    """The verdict on a file that the club did not sign, unless the certificate whose number it
    bears is revoked: no fault of a file hides that. "Replaced" would say of the file that the club
    issued it, so it stands beside."""
    known = verdict_on(record, changes_of_evaluation(record.evaluation_id))
    if known.kind == "revoked":
        return FileVerdict(known, record, besides=(verdict.word, *verdict.lines))
    if known.kind == "replaced":
        newer = _("The certificate of this number was replaced by a newer one.")
        return FileVerdict(verdict, None, besides=(known.word, newer))
    return FileVerdict(verdict, None)


def _dog(record: CertificateRecord) -> dict[str, str]:
    """What tells the dog from another one; the chip's last six digits, as on the page."""
    dog = record.dog
    return {
        "name": dog.name,
        "breed": dog.breed,
        "sex": {"F": "female", "M": "male"}[dog.sex],
        "bornOn": dog.born_on.isoformat(),
        "colour": dog.colour,
        "chipEnd": dog.chip[-6:],
    }


def _dog_address(public_id: str) -> str:
    return f"{settings.SITE_URL}/dogs/{public_id}/"


def _instant(at: datetime) -> str:
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")
