"""The verdict on a number that the club did issue: pages, papers and programs say the same."""

from __future__ import annotations

from registry.models import State
from registry.queries.history import PublicEntry
from registry.queries.public import CertificateRecord
from registry.wording.verdicts import Verdict, genuine, not_released, replaced, revoked


def verdict_on(record: CertificateRecord, entries: list[PublicEntry]) -> Verdict:
    """The verdict; ``entries`` are the public changes of the record's evaluation."""
    if record.state == State.REVOKED:
        on = next((entry.at for entry in entries if entry.action == "evaluation.revoked"), None)
        return revoked(on, record.reason)
    if not record.is_released:
        return not_released()
    if record.state == State.REPLACED:
        return replaced(record.ceased_at, record.reason)
    return genuine()
