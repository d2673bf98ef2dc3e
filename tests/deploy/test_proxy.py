"""The proxy of the compose file, run with its own configuration where the program is installed:
which headers reach the registry, and what is written down of visitors."""

import json
import re
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from http.client import HTTPResponse, HTTPSConnection
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from tests.deploy.proxy import CADDYFILE, free_port, needs_caddy, shipped_proxy
from tests.settings.production import ROOT

_LONGEST_START_SECONDS = 30


class _Echo(BaseHTTPRequestHandler):
    """Answers with the headers that came."""

    def do_GET(self) -> None:
        """Answer."""
        body = json.dumps(dict(self.headers.items())).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 (http.server's)
        """Keep the tests' output clean."""


@dataclass
class Site:
    """The proxy with something behind it."""

    port: int
    upstream: HTTPServer
    log: Path

    def get(self, path: str, headers: dict[str, str]) -> tuple[HTTPResponse, bytes]:
        """Ask the proxy over TLS; its certificate is of its own making."""
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        connection = HTTPSConnection("localhost", self.port, timeout=10, context=context)
        try:
            connection.request("GET", path, headers=headers)
            answer = connection.getresponse()
            return answer, answer.read()
        finally:
            connection.close()


def _waited_for(site: Site) -> None:
    for _ in range(10 * _LONGEST_START_SECONDS):
        try:
            site.get("/", {})
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise AssertionError(site.log.read_text(encoding="utf-8"))


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """The shipped configuration on ports of its own, away from the machine's list of trust."""
    port = free_port()
    config = tmp_path / "Caddyfile"
    config.write_text(shipped_proxy(port), encoding="utf-8")
    with HTTPServer(("127.0.0.1", 0), _Echo) as upstream:
        threading.Thread(target=upstream.serve_forever, daemon=True).start()
        with (tmp_path / "log").open("wb") as log:
            proxy = subprocess.Popen(
                ["caddy", "run", "--config", str(config), "--adapter", "caddyfile"],
                env={
                    "PATH": "/usr/bin:/bin:/usr/local/bin",
                    "HOME": str(tmp_path),
                    "SOUNDLINE_DOMAIN": "localhost",
                    "SOUNDLINE_CONTACT_EMAIL": "office@registry.example",
                    "SOUNDLINE_UPSTREAM": f"127.0.0.1:{upstream.server_port}",
                },
                stdout=log,
                stderr=log,
            )
        try:
            site = Site(port, upstream, tmp_path / "log")
            _waited_for(site)
            yield site
        finally:
            proxy.terminate()
            proxy.wait(timeout=30)
            upstream.shutdown()


@needs_caddy
def test_a_visitors_own_word_on_address_and_scheme_is_thrown_away(site: Site) -> None:
    forged = {"X-Forwarded-For": "203.0.113.9", "X-Forwarded-Proto": "http"}

    _answer, body = site.get("/C/ABC", forged)

    told = json.loads(body)
    assert told["X-Forwarded-Proto"] == "https"
    assert told["X-Forwarded-For"] in {"127.0.0.1", "::1"}
    assert told["Host"] == f"localhost:{site.port}"


@needs_caddy
def test_nothing_of_a_visitor_is_written_down(site: Site) -> None:
    site.get("/C/ABC", {})
    site.upstream.shutdown()
    site.upstream.server_close()

    answer, _body = site.get("/owner/secret-link/", {"Cookie": "session=secret-cookie"})

    written = site.log.read_text(encoding="utf-8")
    errors = [line for line in written.splitlines() if '"level":"error"' in line]
    assert answer.status == 502
    assert len(errors) == 1
    assert "/C/ABC" not in written
    assert "secret-link" not in written
    assert "secret-cookie" not in written
    assert re.search(r"remote_ip|client_ip|remote_port", written) is None


def test_no_access_log_is_asked_for() -> None:
    site = CADDYFILE[CADDYFILE.index("{$SOUNDLINE_DOMAIN") :]

    assert re.search(r"^\s*log\b", site, re.MULTILINE) is None
    assert re.findall(r"^\tlog (\S+)", CADDYFILE, re.MULTILINE) == ["default"]


def test_the_registry_believes_the_proxy_that_is_before_it() -> None:
    compose = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")

    assert 'SOUNDLINE_TRUST_PROXY: "yes"' in compose
    assert "trusted_proxies" not in CADDYFILE
