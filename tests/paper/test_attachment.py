"""The file a PDF carries is taken out; whatever else a PDF does, the answer comes soon and in
words."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from registry.paper import attachment, reading
from registry.paper.attachment import (
    MOST_PDF_BYTES,
    AttachmentProblem,
    BusyError,
    attached_file,
    is_pdf,
)
from registry.paper.certificate import certificate_pdf
from tests.corpora.pdf_files import FILE, Sample, attaching, samples, stream
from tests.paper.sheets import make_paper

SAMPLES = samples()
MOST = 64 * 1024
Run = Callable[[str], float]


def outcome(sample: Sample) -> str:
    """The refusal's words, or none where the file was handed out."""
    try:
        content = attached_file(sample.content, most_bytes=MOST)
    except AttachmentProblem as problem:
        return str(problem)
    assert content.strip() == FILE
    return ""


def test_there_are_fifty_of_them_and_each_may_be_sent() -> None:
    assert len({sample.what for sample in SAMPLES}) == len(SAMPLES) >= 50
    assert max(len(sample.content) for sample in SAMPLES) <= MOST_PDF_BYTES


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.what)
def test_it_is_answered_as_declared_and_soon(sample: Sample) -> None:
    start = time.monotonic()

    said = outcome(sample)

    assert time.monotonic() - start < attachment._SECONDS + 5
    if said:
        assert said.endswith(
            "Ask for the PDF as the club made it, or type the number from the paper."
        )
    if sample.refused_with:
        assert any(words in said if words else not said for words in sample.refused_with), said
    else:
        assert said == ""


def test_a_certificates_sheet_gives_back_its_file_to_the_byte() -> None:
    file = '{"name": "Tarnfold Jûnö\\u0000"}\n'
    pdf = certificate_pdf(make_paper(file=file, file_words="signed")).data

    assert attached_file(pdf, most_bytes=MOST).decode() == file


def test_one_that_is_too_large_is_not_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(attachment, "_PROGRAM", Path("/nonexistent"))

    with pytest.raises(AttachmentProblem, match="far larger"):
        attached_file(b"%PDF-" + bytes(MOST_PDF_BYTES), most_bytes=MOST)


@pytest.mark.parametrize(
    ("data", "is_one"),
    [
        (b"%PDF-1.7\n", True),
        (b"\r\n%PDF-2.0", True),
        (bytes(1019) + b"%PDF-", True),
        (bytes(1020) + b"%PDF-", False),
        (b'{"name": "%PDF-1.7"}', False),
        (b'  [ "%PDF-1.7" ]', False),
        (b"", False),
    ],
)
def test_a_pdf_is_known_by_its_mark(data: bytes, is_one: bool) -> None:
    assert is_pdf(data) is is_one


class TestConfinement:
    """The reader's own limits, tried by programs that do what a hostile file might bring about."""

    @pytest.fixture
    def run(self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
        def confined(deed: str) -> float:
            program = tmp_path / "program.py"
            program.write_text(
                f"import runpy\nrunpy.run_path({reading.__file__!r})['_confine']()\n{deed}\n",
                encoding="utf-8",
            )
            monkeypatch.setattr(attachment, "_PROGRAM", program)
            start = time.monotonic()
            with pytest.raises(AttachmentProblem, match="too much to read"):
                attached_file(attaching(stream(FILE)), most_bytes=MOST)
            return time.monotonic() - start

        return confined

    def test_what_computes_for_ever_is_ended(self, run: Run) -> None:
        assert run("while True: pass") >= reading.CPU_SECONDS - 1

    def test_what_waits_for_ever_is_ended(self, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(attachment, "_SECONDS", 1)

        assert run("import time; time.sleep(60)") < 5

    def test_what_wants_a_gigabyte_gets_none(self, run: Run) -> None:
        run("kept = bytearray(2**30); print('had it', flush=True); raise SystemExit(0)")

    def test_what_writes_a_file_is_ended(self, run: Run, tmp_path: Path) -> None:
        file = tmp_path / "written"

        run(f"import os\nos.write(os.open({str(file)!r}, os.O_CREAT | os.O_WRONLY), b'x')")

        assert not file.exists() or file.read_bytes() == b""

    def test_what_breaks_is_ended(self, run: Run) -> None:
        run("import os; os.abort()")


def test_one_is_read_at_a_time_and_the_next_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(attachment, "_PATIENCE_SECONDS", 0.05)
    pdf = attaching(stream(FILE))

    with attachment._READING, pytest.raises(BusyError):
        attached_file(pdf, most_bytes=MOST)

    assert attached_file(pdf, most_bytes=MOST) == FILE
