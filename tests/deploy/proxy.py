"""The proxy of the compose file as it is shipped, made to run on a port of a test's own."""

from __future__ import annotations

import re
import shutil
import socket
import subprocess

import pytest

from tests.settings.production import ROOT

CADDYFILE = (ROOT / "deploy" / "Caddyfile").read_text(encoding="utf-8")

needs_caddy = pytest.mark.skipif(
    shutil.which("caddy") is None, reason="needs the program caddy, which is not on this machine"
)


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as line:
        line.bind(("127.0.0.1", 0))
        return int(line.getsockname()[1])


def shipped_proxy(port: int) -> str:
    """The shipped configuration on ports of its own, away from the machine's list of trust.

    Before 2.6.3 the proxy had another word for taking the whole body first, as Debian 12's has.
    """
    told = subprocess.run(["caddy", "version"], capture_output=True, text=True, check=True).stdout
    version = tuple(int(each) for each in re.findall(r"\d+", told)[:3])
    text = CADDYFILE
    if version < (2, 6, 3):
        assert text.count("request_buffers 64MB") == 1
        text = text.replace("request_buffers 64MB", "buffer_requests")
    own = f"{{\n\tadmin off\n\tskip_install_trust\n\thttp_port {free_port()}\n\thttps_port {port}\n"
    return text.replace("{\n", own, 1)
