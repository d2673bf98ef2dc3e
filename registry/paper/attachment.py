"""The signed file that a certificate's PDF carries, taken out again.

PDFs come from anybody, so each is read by a process of its own with little time and memory, one at
a time in each worker.
"""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

from registry.paper import reading

MOST_PDF_BYTES = 2 * 2**20
"""Twenty times a certificate's sheet, and little enough to stay in memory while it is sent."""
_SECONDS = 10
_PATIENCE_SECONDS = 2
_HEAD_BYTES = 1024
"""Where the mark of a PDF may stand (ISO 32000-1, annex H, implementation note 13)."""
_PROGRAM = Path(reading.__file__)
_READING = threading.BoundedSemaphore(1)

_AS_MADE = "Ask for the PDF as the club made it, or type the number from the paper."
_PROBLEMS = {
    reading.NONE: "This PDF carries no certificate file: it may be a scan or a new print.",
    reading.LOCKED: "This PDF is protected by a password, so its file cannot be taken out.",
    reading.SEVERAL: "This PDF carries more than one such file, so nobody can tell which is meant.",
    reading.LARGE: "The file in this PDF is far larger than a certificate.",
    reading.DAMAGED: "This PDF is damaged or was cut short.",
}
_HEAVY = "This PDF takes too much to read, which no certificate of the club does."


class AttachmentProblem(ValueError):
    """A PDF that no certificate can be taken out of; says why and what to do."""


class BusyError(Exception):
    """Another PDF is being read just now."""


def is_pdf(data: bytes) -> bool:
    """Whether the bytes call themselves a PDF; JSON that only speaks of one does not."""
    return b"%PDF-" in data[:_HEAD_BYTES] and not data.lstrip().startswith((b"{", b"["))


def attached_file(data: bytes, *, most_bytes: int) -> bytes:
    """The one JSON file that a PDF carries; raises AttachmentProblem, or BusyError after a while.

    ``most_bytes`` is the largest attachment that is handed out.
    """
    if len(data) > MOST_PDF_BYTES:
        raise AttachmentProblem(f"This PDF is far larger than a certificate. {_AS_MADE}")
    if not _READING.acquire(timeout=_PATIENCE_SECONDS):
        raise BusyError
    try:
        code, content = _read(data, most_bytes)
    finally:
        _READING.release()
    if code != reading.FOUND:
        raise AttachmentProblem(f"{_PROBLEMS.get(code, _HEAVY)} {_AS_MADE}")
    return content


def _read(data: bytes, most_bytes: int) -> tuple[int, bytes]:
    """The reader's code and what it wrote; one that was stopped counts as too heavy."""
    program = [sys.executable, "-I", str(_PROGRAM), str(most_bytes)]
    try:
        done = subprocess.run(  # noqa: S603 - our own program, and nothing of the file in its call
            program,
            input=data,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=_SECONDS,
            check=False,
            env={},
            close_fds=True,
        )
    except subprocess.TimeoutExpired:
        return reading.HEAVY, b""
    return done.returncode, done.stdout
