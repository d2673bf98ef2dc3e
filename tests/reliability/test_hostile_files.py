"""Whatever file is sent: it is taken or refused as declared, and one that is taken can do nothing:
a random name on disk, and out again as a download under its true type."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest
from django.test import Client
from pytest_django import Settings

from registry.desk.agreement import check_files
from registry.desk.errors import Invalid
from registry.desk.evidence import attach, stored_path
from registry.models import Evidence
from tests.corpora.evidence_files import Sample, samples
from tests.factories import make_club, make_submitted

pytestmark = pytest.mark.django_db

SAMPLES = samples()
TAKEN = [sample for sample in SAMPLES if sample.kept_as]
REFUSED = [sample for sample in SAMPLES if not sample.kept_as]


@pytest.fixture(autouse=True)
def folder(settings: Settings, tmp_path: Path) -> Path:
    settings.EVIDENCE_ROOT = tmp_path / "evidence"
    return tmp_path / "evidence"


def test_there_are_eighty() -> None:
    assert len({sample.what for sample in SAMPLES}) == len(SAMPLES) >= 80
    assert len(TAKEN) > 30
    assert len(REFUSED) > 30


def test_what_is_no_picture_paper_or_film_is_refused_and_not_kept(folder: Path) -> None:
    by = make_club().nurse.actor

    for sample in REFUSED:
        with pytest.raises(Invalid) as refusal:
            attach(by=by, chunks=[sample.content], name=sample.name)
        assert [problem.pointer for problem in refusal.value.problems] == ["/file"], sample.what

    assert not Evidence.objects.exists()
    assert list(folder.iterdir()) == []


def test_what_is_taken_lies_under_a_random_name_and_goes_out_as_a_download(folder: Path) -> None:
    club = make_club()
    clinic, registrar = Client(), Client()
    clinic.force_login(club.nurse.user)
    registrar.force_login(club.registrar.user)

    for sample in TAKEN:
        film = attach(by=club.nurse.actor, chunks=[sample.content], name=sample.name)
        make_submitted(club, evidence=[film.public_id])

        assert film.content_type == sample.kept_as, sample.what
        assert re.fullmatch(r"[0-9a-f]{32}", film.stored_name)
        assert stored_path(film).parent == folder
        _assert_harmless(clinic, f"/clinic/files/{film.public_id}/", sample)
        is_picture = sample.kept_as in ("image/jpeg", "image/png")
        _assert_harmless(
            registrar, f"/registrar/files/{film.public_id}/", sample, is_shown=is_picture
        )

    assert list(check_files()) == []
    assert len(list(folder.iterdir())) == len(TAKEN)


def _assert_harmless(client: Client, path: str, sample: Sample, *, is_shown: bool = False) -> None:
    answer = client.get(path)
    assert answer.status_code == 200, sample.what
    content = b"".join(answer)
    assert hashlib.sha256(content).digest() == hashlib.sha256(sample.content).digest()
    assert answer["Content-Type"] == sample.kept_as
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    shown = answer["Content-Disposition"]
    assert shown.startswith("inline" if is_shown else "attachment"), sample.what
    assert not re.search(r"[\r\n\x00/\u202e]|%2F|%5C|%00|%0A|%0D", shown), sample.what
    # One name, whatever quotes are in it.
    unquoted = re.sub(r'"(\\.|[^"\\])*"', "", shown)
    assert len(re.findall(r"filename\*?=", unquoted)) == 1, sample.what
