"""A body that a client sends too slowly is cut off, so that nobody holds the server's threads.

The proxy hands a body on once it has all of it, so this is for a registry that is asked without one
and for a proxy that is set up otherwise. The server's own ``timeout`` watches its workers and ends
no request.
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterable, Iterator
from threading import Timer
from typing import Any

Application = Callable[[dict[str, Any], Any], Iterable[bytes]]

SECONDS = 20.0
"""For any body, whatever its length."""
BYTES_A_SECOND = 64 * 1024
"""What a larger body has to keep up beyond that."""


class BodyTooSlowError(TimeoutError):
    """The body did not come in time; what came of it must not be taken for the whole."""


class _Timed:
    """The stream of a body. When its time is over the socket is shut for reading, which wakes
    whoever waits for it, and every read fails."""

    def __init__(self, stream: Any, line: socket.socket, seconds: float, length: int) -> None:
        self._stream, self._line, self._left = stream, line, length
        self._is_late = False
        self._timer = Timer(seconds, self._cut)
        self._timer.daemon = True
        self._timer.start()

    def read(self, *size: int) -> bytes:
        """As of a file; raises BodyTooSlowError."""
        return self._counted(self._stream.read(*size))

    def readline(self, *size: int) -> bytes:
        """As of a file; raises BodyTooSlowError."""
        return self._counted(self._stream.readline(*size))

    def readlines(self, *_hint: int) -> list[bytes]:
        """As of a file; raises BodyTooSlowError."""
        return list(self)

    def __iter__(self) -> Iterator[bytes]:
        while line := self.readline():
            yield line

    def end(self) -> None:
        """Nobody reads it any more."""
        self._timer.cancel()

    def _counted(self, data: bytes) -> bytes:
        if self._is_late:
            raise BodyTooSlowError("the body of a request came too slowly")
        self._left -= len(data)
        if self._left <= 0:
            self.end()
        return data

    def _cut(self) -> None:
        self._is_late = True
        try:
            self._line.shutdown(socket.SHUT_RD)
        except OSError:
            # Hung up by itself meanwhile.
            return


def with_deadline(application: Application, *, seconds: float = SECONDS) -> Application:
    """The WSGI application, each of its bodies read within ``seconds`` and a second for every
    64 KiB of it, under a server that lends the socket (gunicorn does)."""

    def timed(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        line, length = environ.get("gunicorn.socket"), _length(environ)
        if line is None or not length:
            return application(environ, start_response)
        body = _Timed(environ["wsgi.input"], line, seconds + length / BYTES_A_SECOND, length)
        environ["wsgi.input"] = body
        try:
            return application(environ, start_response)
        finally:
            body.end()

    return timed


def _length(environ: dict[str, Any]) -> int:
    """How many bytes were announced; in pieces of unknown number as many as would be taken."""
    if environ.get("HTTP_TRANSFER_ENCODING"):
        return BYTES_A_SECOND
    text = environ.get("CONTENT_LENGTH") or "0"
    return int(text) if text.isascii() and text.isdigit() else 0
