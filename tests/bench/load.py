"""Ask a web server as fast as it answers, and count: with wrk where it is installed.

Without it a small client of our own asks over eight kept connections. It takes a good part of the
two cores for itself, most of all while the empty view is asked, so its ratios flatter the page; the
table says which of the two was used.
"""

from __future__ import annotations

import re
import shutil
import socket
import subprocess
from collections.abc import Sequence
from itertools import cycle
from pathlib import Path
from selectors import EVENT_READ, DefaultSelector
from tempfile import TemporaryDirectory
from time import perf_counter

CONNECTIONS = 8
_SCRIPT = """
local paths = {{ {paths} }}
local at = 0
request = function()
  at = at % #paths + 1
  return wrk.format("GET", paths[at])
end
done = function(summary)
  local errors = summary.errors
  io.write("bad ", errors.status + errors.connect + errors.read + errors.timeout, "\\n")
end
"""


def client() -> str:
    """The name of what asks."""
    return "wrk" if shutil.which("wrk") else "our own client: wrk is not installed"


def requests_a_second(port: int, paths: Sequence[str], seconds: int) -> float:
    """Answered requests a second over eight connections; every answer must be a good one."""
    ask = _with_wrk if shutil.which("wrk") else _by_ourselves
    return ask(port, paths, seconds)


def _with_wrk(port: int, paths: Sequence[str], seconds: int) -> float:
    with TemporaryDirectory() as folder:
        script = Path(folder) / "paths.lua"
        listed = ", ".join(f'"{path}"' for path in paths)
        script.write_text(_SCRIPT.format(paths=listed), encoding="ascii")
        command = ["wrk", "-t1", f"-c{CONNECTIONS}", f"-d{seconds}s", "-s", str(script)]
        said = subprocess.run(
            [*command, f"http://127.0.0.1:{port}"], check=True, capture_output=True, text=True
        ).stdout
    rate = re.search(r"Requests/sec:\s+([\d.]+)", said)
    if rate is None or "bad 0\n" not in said:
        raise RuntimeError(f"the server did not answer every request well:\n{said}")
    return float(rate[1])


def _by_ourselves(port: int, paths: Sequence[str], seconds: int) -> float:
    following = cycle(
        [f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode() for path in paths]
    )
    answered, connections = 0, dict[int, socket.socket]()
    with DefaultSelector() as selector:
        for _place in range(CONNECTIONS):
            asking = socket.create_connection(("127.0.0.1", port))
            asking.sendall(next(following))
            connections[asking.fileno()] = asking
            selector.register(asking, EVENT_READ, bytearray())
        began = perf_counter()
        while (passed := perf_counter() - began) < seconds:
            for key, _events in selector.select(timeout=1):
                asking, answer = connections[key.fd], key.data
                answer += asking.recv(1 << 16)
                if _is_whole(answer):
                    answered += 1
                    answer.clear()
                    asking.sendall(next(following))
        for asking in connections.values():
            asking.close()
    return answered / passed


def _is_whole(answer: bytearray) -> bool:
    head, blank, body = answer.partition(b"\r\n\r\n")
    if not blank:
        return False
    if not head.startswith(b"HTTP/1.1 200 "):
        raise RuntimeError(head.decode("latin-1"))
    length = re.search(rb"content-length: (\d+)", head.lower())
    assert length is not None
    return len(body) >= int(length[1])
