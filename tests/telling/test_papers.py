"""The sheet's seal: printed once the log was signed, and the same from then on."""

from __future__ import annotations

import base64

import pytest

from registry.desk.log import publish_checkpoint
from registry.desk.revoke import replace
from registry.models import Certificate, LedgerEntry
from registry.queries.public import certificate_record
from registry.telling.papers import certificate_paper
from tests.factories import Club, make_accepted, make_body, make_club, make_dog

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def lines(certificate: Certificate) -> tuple[str, ...]:
    record = certificate_record(certificate.number)
    assert record is not None
    return certificate_paper(record).issue_lines


def test_before_the_log_is_signed_no_seal_is_printed(club: Club) -> None:
    assert not any("log" in line for line in lines(make_accepted(club)))


def test_the_first_seal_over_the_issue_is_printed_and_stays(club: Club) -> None:
    certificate = make_accepted(club)
    entry = LedgerEntry.objects.get(action="evaluation.accepted").seq
    made = publish_checkpoint()
    assert made is not None
    root = base64.b64encode(bytes.fromhex(made.root)).decode()[:16]

    first = lines(certificate)
    make_dog(club)
    publish_checkpoint()

    assert first[-1] == f"Line {entry} of the log, sealed with {made.size} lines: {root}…"
    assert lines(certificate) == first


def test_a_corrected_certificate_is_sealed_as_well(club: Club) -> None:
    wrong = make_accepted(club)
    body = make_body(wrong.evaluation.dog, left="0.41")
    right = replace(
        by=club.second_registrar.actor,
        evaluation_id=wrong.evaluation.public_id,
        changes={"readings": body["readings"]},
        reason="left was read wrongly",
    )
    publish_checkpoint()

    assert "of the log, sealed" in lines(right)[-1]
    assert lines(right)[-1] != lines(wrong)[-1]
    record = certificate_record(wrong.number)
    assert record is not None
    assert "Corrected certificate: " in " ".join(certificate_paper(record).state_lines)
