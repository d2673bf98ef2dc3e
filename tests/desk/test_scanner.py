"""Files pass a virus scanner where a club runs one, and none passes while it is away."""

from __future__ import annotations

import socket
import struct
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from pytest_django import Settings

from registry.desk.errors import Invalid
from registry.desk.evidence import attach
from registry.models import Evidence
from tests.factories import Club, make_club

pytestmark = pytest.mark.django_db

PDF = b"%PDF-1.7 report "
BAD = b"%PDF-1.7 something-bad "


@dataclass
class StandIn:
    """Speaks INSTREAM as the clamd manual describes it; finds what contains ``something-bad``."""

    server: socket.socket
    answer: bytes = b""
    seen: list[bytes] = field(default_factory=list)

    def serve(self) -> None:
        while True:
            try:
                line, _ = self.server.accept()
            except OSError:
                return
            with line, line.makefile("rb") as sent:
                self._talk(line, sent.read)

    def _talk(self, line: socket.socket, read: object) -> None:
        assert callable(read)
        if read(10) != b"zINSTREAM\0":
            line.sendall(b"UNKNOWN COMMAND\0")
            return
        content = b""
        while size := struct.unpack(">I", read(4))[0]:
            content += read(size)
        self.seen.append(content)
        verdict = b"stream: Test.Bad FOUND\0" if b"something-bad" in content else b"stream: OK\0"
        line.sendall(self.answer or verdict)


@pytest.fixture(params=["port", "socket file"])
def scanner(
    request: pytest.FixtureRequest, settings: Settings, tmp_path: Path
) -> Iterator[StandIn]:
    if request.param == "port":
        server = socket.create_server(("127.0.0.1", 0))
        settings.SCANNER = f"127.0.0.1:{server.getsockname()[1]}"
    else:
        server = socket.socket(socket.AF_UNIX)
        server.bind(str(tmp_path / "clamd"))
        server.listen()
        settings.SCANNER = str(tmp_path / "clamd")
    stand_in = StandIn(server)
    thread = threading.Thread(target=stand_in.serve, daemon=True)
    thread.start()
    yield stand_in
    server.shutdown(socket.SHUT_RDWR)
    server.close()
    thread.join(timeout=5)


@pytest.fixture(autouse=True)
def folder(settings: Settings, tmp_path: Path) -> Path:
    settings.EVIDENCE_ROOT = tmp_path / "evidence"
    return tmp_path / "evidence"


@pytest.fixture
def club() -> Club:
    return make_club()


def attached(club: Club, content: bytes) -> Evidence:
    return attach(by=club.nurse.actor, chunks=[content], name="report.pdf")


def test_a_clean_file_is_kept_and_was_seen_whole(club: Club, scanner: StandIn) -> None:
    content = PDF + bytes(range(256)) * 1_000

    evidence = attached(club, content)

    assert evidence.size == len(content)
    assert scanner.seen == [content]


def test_what_the_scanner_finds_is_refused_by_name_and_not_kept(
    club: Club, scanner: StandIn, folder: Path
) -> None:
    with pytest.raises(Invalid, match=r"The virus scanner found Test\.Bad in this file") as refusal:
        attached(club, BAD)

    assert [problem.pointer for problem in refusal.value.problems] == ["/file"]
    assert list(folder.iterdir()) == []
    assert not Evidence.objects.exists()


@pytest.mark.parametrize("said", [b"INSTREAM size limit exceeded. ERROR\0", b"\0", b"stream: OK?"])
def test_a_scanner_that_says_neither_lets_nothing_pass(
    club: Club, scanner: StandIn, folder: Path, said: bytes
) -> None:
    scanner.answer = said

    with pytest.raises(Invalid, match="The virus scanner does not answer"):
        attached(club, PDF)

    assert list(folder.iterdir()) == []


def test_a_scanner_that_is_away_lets_nothing_pass(
    club: Club, settings: Settings, folder: Path
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        settings.SCANNER = f"127.0.0.1:{server.getsockname()[1]}"

    with pytest.raises(Invalid, match="try again later"):
        attached(club, PDF)

    assert list(folder.iterdir()) == []


def test_without_a_scanner_nobody_is_asked(club: Club, settings: Settings) -> None:
    settings.SCANNER = ""

    assert attached(club, BAD).content_type == "application/pdf"
