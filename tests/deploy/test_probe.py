"""The container's probe tells a well registry from a sick or missing one."""

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent


class _Registry(HTTPServer):
    """A stand-in that answers with a status of the test's choosing and notes who was asked for."""

    status = 200
    host = ""


class _Answer(BaseHTTPRequestHandler):
    server: _Registry

    def do_GET(self) -> None:
        """Answer as told, and only on the path of the health view."""
        self.server.host = self.headers["Host"]
        self.send_response(self.server.status if self.path == "/healthz" else 404)
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 (http.server's)
        """Keep the tests' output clean."""


@pytest.fixture
def registry() -> Iterator[_Registry]:
    """A listening stand-in on a free port."""
    with _Registry(("127.0.0.1", 0), _Answer) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield server
        server.shutdown()
        thread.join()


def _probe(port: int, **variables: str) -> int:
    """Run the probe against a port and return its exit code."""
    return subprocess.run(
        [sys.executable, "deploy/probe.py"],
        cwd=ROOT,
        env={"PATH": os.environ["PATH"], "SOUNDLINE_BIND": f"0.0.0.0:{port}", **variables},
        check=False,
    ).returncode


def test_it_is_content_with_200(registry: _Registry) -> None:
    assert _probe(registry.server_port) == 0


def test_it_is_not_content_with_503(registry: _Registry) -> None:
    registry.status = 503

    assert _probe(registry.server_port) == 1


def test_it_is_not_content_when_nobody_listens(registry: _Registry) -> None:
    port = registry.server_port
    registry.shutdown()
    registry.server_close()

    assert _probe(port) == 1


def test_it_asks_by_the_sites_own_name(registry: _Registry) -> None:
    _probe(registry.server_port, SOUNDLINE_SITE_URL="https://registry.example")

    assert registry.host == "registry.example"
