"""The web server itself, spoken to byte by byte: one message is one request, and a server that is
asked nonsense says so and goes on."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.assurance.source import ROOT

HOST = b"Host: 127.0.0.1\r\n"


def _free_port() -> int:
    with socket.socket() as line:
        line.bind(("127.0.0.1", 0))
        return int(line.getsockname()[1])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the server writes."""
    return tmp_path_factory.mktemp("server")


@pytest.fixture(scope="module")
def port(folder: Path) -> Iterator[int]:
    """The port of a running server: a trial, with the configuration file that a site has."""
    port = _free_port()
    variables = {
        "PATH": os.environ["PATH"],
        "SOUNDLINE_MODE": "demo",
        "SOUNDLINE_VAR": str(folder),
        "SOUNDLINE_BIND": f"127.0.0.1:{port}",
        "SOUNDLINE_WORKERS": "1",
    }
    command = [sys.executable, "manage.py", "collectstatic", "--no-input", "--verbosity", "0"]
    subprocess.run(command, cwd=ROOT, env=variables, check=True)
    with (folder / "log").open("wb") as log:
        server = subprocess.Popen(
            [sys.executable, "-m", "gunicorn"], cwd=ROOT, env=variables, stdout=log, stderr=log
        )
        try:
            _wait_for(port)
            yield port
        finally:
            server.terminate()
            server.wait(timeout=40)


def _wait_for(port: int) -> None:
    for _ in range(150):
        try:
            if _said(port, b"GET /healthz HTTP/1.1\r\n" + HOST + b"Connection: close\r\n\r\n"):
                return
        except OSError:
            time.sleep(0.2)
    raise AssertionError("the server did not start")


def _said(port: int, sent: bytes) -> bytes:
    """Everything the server says to these bytes until it hangs up or is silent for two seconds."""
    with socket.create_connection(("127.0.0.1", port), timeout=2) as line:
        line.sendall(sent)
        told = b""
        try:
            while part := line.recv(65_536):
                told += part
        except (TimeoutError, ConnectionResetError):
            pass
        return told


def _answers(told: bytes) -> int:
    return told.count(b"HTTP/1.1 ")


SMUGGLED = b"GET /find/?q=smuggled HTTP/1.1\r\n" + HOST + b"\r\n"


@pytest.mark.parametrize(
    ("head", "body"),
    [
        (b"Content-Length: 6\r\nTransfer-Encoding: chunked\r\n", b"0\r\n\r\n"),
        (b"Transfer-Encoding: chunked\r\nContent-Length: 4\r\n", b"1\r\nZ\r\n0\r\n\r\n"),
        (b"Content-Length: 0\r\nContent-Length: 44\r\n", b""),
        (b"Transfer-Encoding: xchunked\r\n", b"0\r\n\r\n"),
        (b"Transfer-Encoding : chunked\r\n", b"0\r\n\r\n"),
        (b"Transfer-Encoding:\x0bchunked\r\n", b"0\r\n\r\n"),
        (b"Content-Length: +0\r\n", b""),
        (b"Content-Length: 0,0\r\n", b""),
        (b"X: a\r\n Content-Length: 0\r\n", b""),
        (b"Content_Length: 50\r\nTransfer_Encoding: chunked\r\nX y: z\r\n", b""),
    ],
)
def test_a_message_of_two_lengths_is_never_two_requests(
    port: int, head: bytes, body: bytes
) -> None:
    told = _said(port, b"POST /sign-in/ HTTP/1.1\r\n" + HOST + head + b"\r\n" + body + SMUGGLED)

    assert _answers(told) <= 1
    assert b"smuggled" not in told


def test_the_server_goes_on_after_nonsense(port: int) -> None:
    for nonsense in (
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET /" + b"a" * 20_000 + b" HTTP/1.1\r\n" + HOST + b"\r\n",
        b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 500 + b"\r\n",
        b"\x00" * 512 + b"\r\n\r\n",
    ):
        told = _said(port, nonsense)

        assert b" 200 " not in told.partition(b"\r\n")[0]
        assert b"Traceback" not in told

    told = _said(port, b"GET /healthz HTTP/1.1\r\n" + HOST + b"Connection: close\r\n\r\n")
    assert told.startswith(b"HTTP/1.1 ")


def test_an_error_shows_nothing_of_the_inside(port: int) -> None:
    """The trial's database was never migrated, so a page that asks it fails."""
    told = _said(port, b"GET /find/?q=juno HTTP/1.1\r\n" + HOST + b"Connection: close\r\n\r\n")

    assert told.startswith(b"HTTP/1.1 500 ")
    for inside in (b"Traceback", b"registry_", b"sqlite", b"OperationalError", b"settings", b".py"):
        assert inside not in told


def test_no_folder_is_listed_and_no_source_is_handed_out(port: int) -> None:
    for path in (
        b"/static/",
        b"/static/soundline/",
        b"/static/../manage.py",
        b"/static/..%2f..%2fmanage.py",
        b"/.git/HEAD",
        b"/docker-compose.yml",
        b"/requirements-run.lock",
    ):
        told = _said(port, b"GET " + path + b" HTTP/1.1\r\n" + HOST + b"Connection: close\r\n\r\n")

        assert b" 404 " in told.partition(b"\r\n")[0], path


def test_a_stylesheet_is_handed_out_and_says_its_type(port: int, folder: Path) -> None:
    (sheet,) = (folder / "static" / "soundline").glob("site.*.css")
    path = f"/static/soundline/{sheet.name}".encode()

    told = _said(port, b"GET " + path + b" HTTP/1.1\r\n" + HOST + b"Connection: close\r\n\r\n")

    head = told.partition(b"\r\n\r\n")[0].lower()
    assert b" 200 " in head
    assert b'content-type: text/css; charset="utf-8"' in head
    assert b"x-content-type-options: nosniff" in head
    assert b"access-control-" not in head
