"""Evidence files are taken by their content, stored durably under random names, and kept apart."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks, Settings

from registry.desk.drafts import discard_draft, save_draft, send_draft, start_draft
from registry.desk.errors import Invalid, NotFound, Refused
from registry.desk.evidence import (
    MOST_FILES,
    attach,
    content_type_of,
    detach,
    download_name,
    stored_path,
    sweep,
)
from registry.desk.submit import submit
from registry.ledger import Actor
from registry.models import Draft, Evaluation, Evidence, LedgerEntry
from tests.factories import Club, make_body, make_club, make_dog, make_submitted

pytestmark = pytest.mark.django_db

JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF film"
PNG = b"\x89PNG\r\n\x1a\n film"
PDF = b"%PDF-1.7 report"
DICOM = bytes(128) + b"DICM film"


@pytest.fixture(autouse=True)
def folder(settings: Settings, tmp_path: Path) -> Path:
    settings.EVIDENCE_ROOT = tmp_path / "evidence"
    return tmp_path / "evidence"


@pytest.fixture
def club() -> Club:
    return make_club()


def attached(
    club: Club, content: bytes = JPEG, *, name: str = "hips.jpg", draft: Draft | None = None
) -> Evidence:
    return attach(
        by=club.nurse.actor,
        chunks=[content],
        name=name,
        draft_id=draft.public_id if draft else None,
    )


def files_in(folder: Path) -> list[Path]:
    return sorted(folder.iterdir()) if folder.is_dir() else []


class TestTheType:
    @pytest.mark.parametrize(
        ("content", "expected"),
        [
            (JPEG, "image/jpeg"),
            (PNG, "image/png"),
            (PDF, "application/pdf"),
            (DICOM, "application/dicom"),
            (b"II*\x00".ljust(128, b"\x00") + b"DICM", "application/dicom"),
        ],
    )
    def test_it_is_told_by_the_content(self, club: Club, content: bytes, expected: str) -> None:
        assert attached(club, content, name="anything.txt").content_type == expected

    @pytest.mark.parametrize(
        "content",
        [
            pytest.param(b"MZ\x90".ljust(128, b"\x00") + b"DICM", id="a Windows program"),
            pytest.param(b"\x7fELF".ljust(128, b"\x00") + b"DICM", id="a Linux program"),
            pytest.param(b"PK\x03\x04".ljust(128, b"\x00") + b"DICM", id="an archive"),
            pytest.param(b"<script>".ljust(128, b" ") + b"DICM", id="a page with a script"),
            pytest.param(b"<!doctype html><p>film", id="HTML"),
            pytest.param(b'<svg xmlns="http://www.w3.org/2000/svg"/>', id="SVG"),
            pytest.param(b"GIF89a", id="GIF"),
            pytest.param(b"PK\x03\x04", id="ZIP"),
            pytest.param(b" %PDF-1.7", id="PDF that begins late"),
            pytest.param(b"DICM", id="DICOM without its preamble"),
            pytest.param(bytes(127) + b"DICM", id="DICOM mark one byte early"),
            pytest.param(b"\xff\xd8", id="JPEG cut after two bytes"),
        ],
    )
    def test_anything_else_is_refused_and_not_kept(
        self, club: Club, folder: Path, content: bytes
    ) -> None:
        with pytest.raises(Invalid, match="Send a JPEG, PNG, PDF or DICOM file") as refused:
            attached(club, content, name="hips.jpg")

        assert [problem.pointer for problem in refused.value.problems] == ["/file"]
        assert files_in(folder) == []
        assert not Evidence.objects.exists()

    def test_the_first_bytes_may_come_in_pieces(self, club: Club) -> None:
        pieces = [DICOM[place : place + 1] for place in range(len(DICOM))]

        evidence = attach(by=club.nurse.actor, chunks=pieces, name="film.dcm")

        assert evidence.content_type == "application/dicom"
        assert evidence.sha256 == hashlib.sha256(DICOM).hexdigest()

    def test_nothing_has_no_type(self) -> None:
        assert content_type_of(b"") is None


class TestTheSize:
    def test_an_empty_file_is_refused(self, club: Club, folder: Path) -> None:
        with pytest.raises(Invalid, match="The file is empty"):
            attached(club, b"")

        assert files_in(folder) == []

    def test_the_largest_is_taken_and_one_byte_more_is_not(
        self, club: Club, folder: Path, settings: Settings
    ) -> None:
        settings.EVIDENCE_MAX_BYTES = 2**20

        assert attached(club, JPEG.ljust(2**20, b"x")).size == 2**20
        with pytest.raises(Invalid, match="larger than 1 MB"):
            attached(club, JPEG.ljust(2**20 + 1, b"x"))

        assert len(files_in(folder)) == 1

    def test_a_file_without_end_is_given_up_on(
        self, club: Club, folder: Path, settings: Settings
    ) -> None:
        settings.EVIDENCE_MAX_BYTES = 10_000
        given = []

        def endless() -> Iterator[bytes]:
            while True:
                given.append(1)
                yield JPEG.ljust(1_000, b"x")

        with pytest.raises(Invalid, match="larger than"):
            attach(by=club.nurse.actor, chunks=endless(), name="hips.jpg")

        assert len(given) == 11
        assert files_in(folder) == []


class TestTheName:
    @pytest.mark.parametrize(
        ("given", "shown"),
        [
            ("hips.jpg", "hips.jpg"),
            ("../../etc/passwd", "passwd"),
            ("C:\\films\\hips.jpg", "hips.jpg"),
            ("hi\x00ps.jpg", "hips.jpg"),
            ("hips\r\nX-Evil: 1.jpg", "hipsX-Evil: 1.jpg"),
            ("hips\u202egpj.exe", "hipsgpj.exe"),
            ("  hips   left .jpg ", "hips left .jpg"),
            ("films/", "file"),
            ("", "file"),
            ("x" * 300 + ".jpg", "x" * 196 + ".jpg"),
        ],
    )
    def test_it_is_shown_without_path_or_control_signs(
        self, club: Club, given: str, shown: str
    ) -> None:
        assert attached(club, name=given).original_name == shown

    def test_it_never_names_the_file_on_disk(self, club: Club, folder: Path) -> None:
        evidence = attached(club, name="../hips.jpg")

        assert files_in(folder) == [folder / evidence.stored_name]
        assert evidence.stored_name.isalnum()
        assert len(evidence.stored_name) == 32

    def test_the_ledger_holds_its_digest_and_only_a_commitment_to_its_name(
        self, club: Club
    ) -> None:
        evidence = attached(club, name="Olga Reedmoor.jpg")

        entry = LedgerEntry.objects.latest("seq")
        assert entry.subject == f"evidence:{evidence.public_id}"
        assert evidence.sha256 in entry.body
        assert "Reedmoor" not in entry.body


class TestTheNameItGoesOutUnder:
    @pytest.mark.parametrize(
        ("content", "given", "handed_out"),
        [
            (JPEG, "hips.jpg", "hips.jpg"),
            (JPEG, "HIPS.JPEG", "HIPS.JPEG"),
            (PNG, "hips.png", "hips.png"),
            (PDF, "report.PDF", "report.PDF"),
            (DICOM, "IM00001", "IM00001.dcm"),
            (JPEG, "hips.jpg.php", "hips.jpg.php.jpg"),
            (PDF, "report.html", "report.html.pdf"),
            (PNG, "", "file.png"),
        ],
    )
    def test_it_ends_as_the_content_wants(
        self, club: Club, content: bytes, given: str, handed_out: str
    ) -> None:
        assert download_name(attached(club, content, name=given)) == handed_out


class TestWhoseItIs:
    def test_its_bytes_are_those_that_came(self, club: Club) -> None:
        evidence = attached(club, PNG)

        assert stored_path(evidence).read_bytes() == PNG
        assert evidence.sha256 == hashlib.sha256(PNG).hexdigest()

    def test_only_a_clinic_attaches(self, club: Club) -> None:
        for person in (club.registrar, club.secretary):
            with pytest.raises(Refused):
                attach(by=person.actor, chunks=[JPEG], name="hips.jpg")

    def test_a_result_takes_the_files_it_names(self, club: Club) -> None:
        first, second = attached(club), attached(club, PNG)

        evaluation = make_submitted(club, evidence=[first.public_id, second.public_id])

        assert set(evaluation.evidence.all()) == {first, second}

    @pytest.mark.parametrize("other", ["another clinic's", "sent before", "none"])
    def test_a_file_that_is_not_waiting_for_this_clinic_is_like_none(
        self, club: Club, other: str
    ) -> None:
        own = attached(club)
        match other:
            case "another clinic's":
                file = attach(by=club.other_nurse.actor, chunks=[JPEG], name="hips.jpg")
                evidence_id = file.public_id
            case "sent before":
                evidence_id = attached(club).public_id
                make_submitted(club, evidence=[evidence_id])
            case _:
                evidence_id = "nothing"
        before = Evaluation.objects.count()

        with pytest.raises(Invalid, match="There is no such file waiting") as refused:
            make_submitted(club, evidence=[own.public_id, evidence_id])

        assert refused.value.problems[0].pointer == "/evidence/1"
        assert Evaluation.objects.count() == before

    def test_another_clinics_draft_takes_no_file(self, club: Club, folder: Path) -> None:
        draft = start_draft(by=club.other_nurse.actor)

        with pytest.raises(NotFound):
            attached(club, draft=draft)

        assert files_in(folder) == []

    def test_a_draft_holds_so_many_and_no_more(self, club: Club) -> None:
        draft = start_draft(by=club.nurse.actor)
        for _ in range(MOST_FILES):
            attached(club, draft=draft)

        with pytest.raises(Invalid, match="Remove one first"):
            attached(club, draft=draft)

    def test_a_result_takes_so_many_and_no_more(self, club: Club) -> None:
        many = [attached(club).public_id for _ in range(MOST_FILES + 1)]

        with pytest.raises(Invalid, match=f"at most {MOST_FILES} files"):
            make_submitted(club, evidence=many)

    def test_the_same_film_elsewhere_is_flagged(self, club: Club) -> None:
        first = make_submitted(club, evidence=[attached(club).public_id])

        second = make_submitted(club, evidence=[attached(club).public_id])

        flag = second.flags.get()
        assert (flag.code, flag.level) == ("same_evidence", "look")
        assert flag.detail["other"] == first.reference


class TestTakingOff:
    def test_the_row_goes_first_and_the_bytes_after_the_commit(
        self, club: Club, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
    ) -> None:
        evidence = attached(club, draft=start_draft(by=club.nurse.actor))
        path = stored_path(evidence)

        with django_capture_on_commit_callbacks(execute=True):
            detach(by=club.nurse.actor, evidence_id=evidence.public_id)
            assert path.exists()

        assert not path.exists()
        assert not Evidence.objects.exists()
        assert LedgerEntry.objects.latest("seq").action == "evidence.removed"

    def test_what_was_sent_stays(self, club: Club) -> None:
        evidence = attached(club)
        make_submitted(club, evidence=[evidence.public_id])

        with pytest.raises(NotFound):
            detach(by=club.nurse.actor, evidence_id=evidence.public_id)

        assert stored_path(evidence).exists()

    def test_another_clinics_is_like_none(self, club: Club) -> None:
        evidence = attached(club)

        with pytest.raises(NotFound, match="There is no such file"):
            detach(by=club.other_nurse.actor, evidence_id=evidence.public_id)


class TestSweep:
    def make_old(self, evidence: Evidence) -> None:
        long_ago = timezone.now() - timedelta(hours=25)
        Evidence.objects.filter(pk=evidence.pk).update(uploaded_at=long_ago)
        os.utime(stored_path(evidence), (0, 0))

    def sweep(self, capture: DjangoCaptureOnCommitCallbacks) -> int:
        with capture(execute=True):
            return sweep(by=Actor.system())

    def test_it_takes_loose_files_after_a_day(
        self, club: Club, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
    ) -> None:
        old, young = attached(club), attached(club)
        self.make_old(old)

        self.sweep(django_capture_on_commit_callbacks)

        assert list(Evidence.objects.all()) == [young]
        assert not stored_path(old).exists()
        assert stored_path(young).exists()

    def test_it_leaves_what_a_draft_or_a_result_holds(
        self, club: Club, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
    ) -> None:
        held = [attached(club, draft=start_draft(by=club.nurse.actor)), attached(club)]
        make_submitted(club, evidence=[held[1].public_id])
        for evidence in held:
            self.make_old(evidence)

        assert self.sweep(django_capture_on_commit_callbacks) == 0

        assert all(stored_path(evidence).exists() for evidence in held)

    def test_the_files_of_a_sent_draft_stay(
        self, club: Club, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
    ) -> None:
        draft = start_draft(by=club.nurse.actor)
        evidence = attached(club, draft=draft)
        body = make_body(make_dog(club))
        save_draft(by=club.nurse.actor, draft_id=draft.public_id, version=1, answers=body)
        send_draft(by=club.nurse.actor, draft_id=draft.public_id)
        self.make_old(evidence)

        assert self.sweep(django_capture_on_commit_callbacks) == 0

    def test_a_discarded_drafts_files_go_after_a_day(
        self, club: Club, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
    ) -> None:
        draft = start_draft(by=club.nurse.actor)
        evidence = attached(club, draft=draft)
        discard_draft(by=club.nurse.actor, draft_id=draft.public_id)
        self.make_old(evidence)

        self.sweep(django_capture_on_commit_callbacks)

        assert not Evidence.objects.exists()
        assert not stored_path(evidence).exists()

    def test_it_takes_nameless_files_after_a_day(self, folder: Path) -> None:
        folder.mkdir()
        old, young = f"{'0' * 32}.part", f"{'1' * 32}.part"
        for name in (old, young):
            (folder / name).write_bytes(b"half a film")
        os.utime(folder / old, (0, 0))

        assert sweep(by=Actor.system()) == 1

        assert [path for path in files_in(folder) if path.is_file()] == [folder / young]

    def test_without_a_folder_there_is_nothing_to_do(self) -> None:
        assert sweep(by=Actor.system()) == 0


def test_a_film_is_on_disk_before_the_database_names_it(
    club: Club, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[int] = []
    fsync = os.fsync

    def noted(handle: int) -> None:
        assert not Evidence.objects.exists()
        synced.append(handle)
        fsync(handle)

    monkeypatch.setattr(os, "fsync", noted)

    attached(club)

    assert len(synced) == 2  # the file, then its folder
    assert Evidence.objects.count() == 1


def test_a_failing_disk_leaves_neither_row_nor_file(
    club: Club, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)

    with pytest.raises(OSError, match="No space left"):
        attached(club)

    assert not Evidence.objects.exists()
    assert files_in(folder) == []


def test_a_sent_result_names_the_digests_in_its_entry(club: Club) -> None:
    evidence = attached(club)

    submit(by=club.nurse.actor, body=make_body(make_dog(club), evidence=[evidence.public_id]))

    assert evidence.sha256 in LedgerEntry.objects.latest("seq").body
