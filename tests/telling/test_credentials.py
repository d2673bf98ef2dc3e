"""A certificate's file proves itself; a changed one gets one of six plain verdicts."""

from __future__ import annotations

import base64
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core.management import CommandError, call_command

from registry.credential.certificate import is_marked, read
from registry.credential.integrity import ProofProblem, signed
from registry.credential.multikey import multikey
from registry.desk import consent
from registry.desk.actor import Actor
from registry.desk.log import publish_checkpoint
from registry.ledger.keys import verifier_keys
from registry.models import Certificate
from registry.queries.public import certificate_record
from registry.telling.credentials import (
    credential,
    credential_text,
    status_credential,
    verdict_on_file,
)
from registry.telling.issuer import issuer, method, signing_key
from tests.corpora.pdf_files import attaching, samples, stream
from tests.factories import Club, make_accepted, make_club, make_revoked

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def juno(club: Club) -> Certificate:
    certificate = make_accepted(club)
    publish_checkpoint()
    return certificate


def file_of(certificate: Certificate) -> bytes:
    record = certificate_record(certificate.number)
    assert record is not None
    return credential_text(record)


def changed(data: bytes, **subject: str) -> bytes:
    """The file with members of its subject replaced, the proof left as it was."""
    found = json.loads(data)
    found["credentialSubject"].update(subject)
    return json.dumps(found).encode()


def resigned(data: bytes, change: dict[str, Any]) -> bytes:
    """The file with other members and a proof that fits, as only the club could make it."""
    found = json.loads(data)
    proof = found.pop("proof")
    found.update(change)
    created = datetime.fromisoformat(proof["created"])
    return json.dumps(signed(found, signing_key(), method=method(), created=created)).encode()


class TestTheFile:
    def test_it_is_the_same_to_the_byte_once_it_is_sealed(
        self, club: Club, juno: Certificate
    ) -> None:
        first = file_of(juno)
        make_accepted(club)
        publish_checkpoint()

        assert file_of(juno) == first

    def test_it_checks_without_any_server(self, juno: Certificate) -> None:
        found = read(file_of(juno), issuer(), verifier_keys())

        assert found.number == juno.number
        assert found.log_size == publish_checkpoint().size  # type: ignore[union-attr]

    def test_before_the_seal_it_is_signed_and_says_nothing_of_the_log(self, club: Club) -> None:
        found = read(file_of(make_accepted(club)), issuer(), verifier_keys())

        assert found.log_size is None

    def test_it_names_no_person(self, juno: Certificate) -> None:
        text = file_of(juno).decode()

        assert not any(name in text for name in ("Olga", "Reedmoor", "Oakhollow", "olga@"))

    def test_one_that_was_signed_with_another_context_still_checks(self, juno: Certificate) -> None:
        former = [
            "https://www.w3.org/ns/credentials/v2",
            {"@vocab": "http://127.0.0.1:8000/terms#"},
        ]
        data = resigned(file_of(juno), {"@context": former})

        assert verdict_on_file(data).verdict.kind == "genuine"

    def test_one_signed_before_a_change_of_keys_still_checks(
        self, juno: Certificate, settings: LazySettings
    ) -> None:
        data = file_of(juno)
        former = multikey(signing_key().public_key().public_bytes_raw())
        settings.ISSUER_KEY = base64.b64encode(bytes(range(32))).decode()

        assert verdict_on_file(data).verdict.kind == "not-found"
        settings.ISSUER_FORMER_KEYS = [former]
        assert verdict_on_file(data).verdict.kind == "genuine"


class TestVerdicts:
    def test_an_untouched_file_is_genuine(self, juno: Certificate) -> None:
        found = verdict_on_file(file_of(juno))

        assert found.verdict.kind == "genuine"
        assert found.record is not None
        assert found.record.number == juno.number

    def test_a_revoked_one_is_revoked(self, club: Club, juno: Certificate) -> None:
        data = file_of(juno)
        make_revoked(club, juno.evaluation.public_id, reason="the films were swapped")

        assert verdict_on_file(data).verdict.kind == "revoked"

    def test_a_replaced_one_is_replaced(self, club: Club, juno: Certificate) -> None:
        data = file_of(juno)
        make_accepted(club, juno.evaluation.dog, examined_on="2026-10-20")

        assert verdict_on_file(data).verdict.kind == "replaced"

    def test_one_whose_owner_took_it_back_is_not_released(self, juno: Certificate) -> None:
        data = file_of(juno)
        consent.change_consent(
            by=Actor.system(), evaluation_id=juno.evaluation.public_id, publish=False
        )

        assert verdict_on_file(data).verdict.kind == "not-released"

    def test_a_better_value_is_seen(self, juno: Certificate) -> None:
        data = file_of(juno).replace(b'"value": "0.35"', b'"value": "0.25"')

        found = verdict_on_file(data)

        assert found.verdict.kind == "not-found"
        assert "was changed" in found.verdict.lines[0]

    def test_a_file_put_on_another_dog_is_seen(self, juno: Certificate) -> None:
        data = changed(file_of(juno), id="http://127.0.0.1:8000/dogs/another/", name="Bramble")

        assert verdict_on_file(data).verdict.kind == "other-dog"

    def test_no_fault_of_a_file_hides_a_revocation(self, club: Club, juno: Certificate) -> None:
        data = file_of(juno)
        put_on_another = changed(data, id="http://127.0.0.1:8000/dogs/another/", name="Bramble")
        better = data.replace(b'"value": "0.35"', b'"value": "0.25"')
        make_revoked(club, juno.evaluation.public_id)

        found = [verdict_on_file(each) for each in (put_on_another, better)]

        assert [each.verdict.kind for each in found] == ["revoked", "revoked"]
        assert [each.besides[0] for each in found] == ["Number is for a different dog", "Not found"]

    def test_a_changed_file_of_a_replaced_one_is_not_said_to_be_the_clubs(
        self, club: Club, juno: Certificate
    ) -> None:
        better = file_of(juno).replace(b'"value": "0.35"', b'"value": "0.25"')
        make_accepted(club, juno.evaluation.dog, examined_on="2026-10-20")

        found = verdict_on_file(better)

        assert found.verdict.kind == "not-found"
        assert found.besides[0] == "Genuine, replaced by a newer result"

    @pytest.mark.parametrize(
        "data",
        [
            b"",
            b"no json",
            b"[]",
            b"{}",
            b'{"proof": 3}',
            b'{"credentialSubject": 7, "proof": {}}',
            b'{"a": 1, "a": 2}',
            b"\xff\xfe",
            b"[" * 60_000,
            b" " * 70_000,
        ],
    )
    def test_any_other_file_is_not_found(self, data: bytes) -> None:
        assert verdict_on_file(data).verdict.kind == "not-found"

    def test_every_flipped_letter_is_seen(self, juno: Certificate) -> None:
        data = file_of(juno)
        body = json.loads(data)["credentialSubject"]["name"].encode()
        start = data.index(body)

        for at in range(start, start + len(body)):
            flipped = data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]
            assert verdict_on_file(flipped).verdict.kind != "genuine"

    def test_a_strangers_signature_is_seen(self, juno: Certificate, settings: LazySettings) -> None:
        data = file_of(juno)
        settings.ISSUER_KEY = base64.b64encode(bytes(range(32))).decode()

        assert "somebody else" in verdict_on_file(data).verdict.lines[0]

    def test_a_line_of_another_certificate_is_seen(self, club: Club, juno: Certificate) -> None:
        other = make_accepted(club)
        publish_checkpoint()
        borrowed = json.loads(file_of(other))["evidence"]
        data = resigned(file_of(juno), {"evidence": borrowed})

        assert "another certificate" in verdict_on_file(data).verdict.lines[0]

    def test_a_line_that_is_in_no_log_is_seen(self, juno: Certificate) -> None:
        (evidence,) = json.loads(file_of(juno))["evidence"]
        evidence["entry"] = evidence["entry"].replace('"why":""', '"why":"x"')
        data = resigned(file_of(juno), {"evidence": [evidence]})

        assert "not in the club's log" in verdict_on_file(data).verdict.lines[0]


class TestStatusLists:
    def test_a_revoked_certificate_is_marked_and_others_are_not(
        self, club: Club, juno: Certificate
    ) -> None:
        other = make_accepted(club)
        make_revoked(club, juno.evaluation.public_id, reason="the films were swapped")
        listed = json.dumps(status_credential("revocation", 0)).encode()

        marks = [
            is_marked(read(data, issuer(), verifier_keys()), listed, issuer())
            for data in (json.dumps(_signed_before(juno)).encode(), file_of(other))
        ]

        assert marks == [("revocation", True), ("revocation", False)]

    def test_a_list_of_another_purpose_says_so(self, juno: Certificate) -> None:
        listed = json.dumps(status_credential("refresh", 0)).encode()

        found = read(file_of(juno), issuer(), verifier_keys())

        assert is_marked(found, listed, issuer()) == ("refresh", False)

    def test_a_forged_list_is_refused(self, juno: Certificate) -> None:
        listed = status_credential("revocation", 0)
        listed["credentialSubject"]["encodedList"] = "uAAAA"
        found = read(file_of(juno), issuer(), verifier_keys())

        with pytest.raises(ProofProblem, match="was changed"):
            is_marked(found, json.dumps(listed).encode(), issuer())

    def test_a_list_that_the_certificate_does_not_name_is_refused(self, juno: Certificate) -> None:
        listed = json.dumps(status_credential("revocation", 1)).encode()
        found = read(file_of(juno), issuer(), verifier_keys())

        with pytest.raises(ProofProblem, match="not one that the certificate names"):
            is_marked(found, listed, issuer())

    def test_places_do_not_tell_who_came_first(self, club: Club) -> None:
        places = [make_accepted(club).status_place for _number in range(12)]

        assert len(set(places)) == 12
        assert places != sorted(places)


def _signed_before(certificate: Certificate) -> dict[str, Any]:
    """The file of a certificate that is revoked by now, as it was kept."""
    record = certificate_record(certificate.number)
    assert record is not None
    return credential(record)


class TestTheCommand:
    def test_it_says_what_the_file_is_worth(
        self, juno: Certificate, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        file, revoked, replaced = (tmp_path / name for name in ("c.json", "a", "b"))
        file.write_bytes(file_of(juno))
        revoked.write_text(json.dumps(status_credential("revocation", 0)), encoding="utf-8")
        replaced.write_text(json.dumps(status_credential("refresh", 0)), encoding="utf-8")

        call_command("verify_certificate", str(file))
        assert "was not checked" in capsys.readouterr().out
        call_command("verify_certificate", str(file), status=[revoked, replaced])
        assert "it is current" in capsys.readouterr().out

    def test_a_pdf_is_checked_by_its_file_and_told_in_full(
        self, juno: Certificate, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        pdf = tmp_path / "juno.pdf"
        pdf.write_bytes(attaching(stream(file_of(juno))))

        call_command("verify_certificate", str(pdf))

        said = capsys.readouterr().out
        assert "only what stands here was signed" in said
        assert "  Hip laxity, left: 0.31\n" in said
        assert f"  Name: {juno.evaluation.dog.name}\n" in said

    def test_a_pdf_without_the_file_is_not_called_a_forgery(self, tmp_path: Path) -> None:
        pdf = tmp_path / "scan.pdf"
        pdf.write_bytes(next(each.content for each in samples() if "no attachment" in each.what))

        with pytest.raises(CommandError, match=r"Not checked\..*no certificate file"):
            call_command("verify_certificate", str(pdf))

    def test_a_changed_file_fails(self, juno: Certificate, tmp_path: Path) -> None:
        file = tmp_path / "c.json"
        file.write_bytes(changed(file_of(juno), name="Bramble"))

        with pytest.raises(CommandError, match="Not genuine"):
            call_command("verify_certificate", str(file))

    def test_a_file_that_is_not_there_is_named(self, tmp_path: Path) -> None:
        with pytest.raises(CommandError, match=r"nothing\.json cannot be read"):
            call_command("verify_certificate", str(tmp_path / "nothing.json"))
