"""Ask a virus scanner about a file, when the club runs one: ClamAV's daemon, over its socket.

The file goes to it as a stream and is never named to it (INSTREAM of the clamd manual: each chunk
behind its length as four bytes, a length of nought at the end). A scanner that is set but does not
answer lets no file pass.
"""

from __future__ import annotations

import socket
import struct
from pathlib import Path

from django.conf import settings

_TIMEOUT_SECONDS = 30
_CHUNK = 64 * 1024


class ScannerError(Exception):
    """The scanner does not answer, or answers neither yes nor no."""


def found_in(path: Path) -> str:
    """The name of what the scanner found in the file; empty when nothing, or without a scanner.

    Raises ScannerError.
    """
    if not settings.SCANNER:
        return ""
    try:
        with _line() as line, path.open("rb") as file:
            line.sendall(b"zINSTREAM\0")
            while chunk := file.read(_CHUNK):
                line.sendall(struct.pack(">I", len(chunk)) + chunk)
            line.sendall(struct.pack(">I", 0))
            answer = _answer(line)
    except OSError as error:
        raise ScannerError(type(error).__name__) from error
    if answer == "stream: OK":
        return ""
    if answer.endswith(" FOUND"):
        return answer.removeprefix("stream: ").removesuffix(" FOUND")
    raise ScannerError(answer)


def _line() -> socket.socket:
    """A connection to the scanner: a path is a socket file, else it is HOST:PORT."""
    if settings.SCANNER.startswith("/"):
        line = socket.socket(socket.AF_UNIX)
        line.settimeout(_TIMEOUT_SECONDS)
        line.connect(settings.SCANNER)
        return line
    host, _colon, port = settings.SCANNER.rpartition(":")
    return socket.create_connection((host, int(port)), timeout=_TIMEOUT_SECONDS)


def _answer(line: socket.socket) -> str:
    told = b""
    while not told.endswith(b"\0") and len(told) < _CHUNK:
        part = line.recv(4096)
        if not part:
            break
        told += part
    return told.rstrip(b"\0").decode("utf-8", "replace").strip()
