"""The farewell site answers for every certificate from plain files, without a script."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from io import StringIO
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.request import urlopen

import pytest
from django.core.handlers.base import BaseHandler
from django.core.management import CommandError, call_command
from django.db import transaction
from django.http import HttpResponse

from registry.archive.frozen_page import frozen
from registry.models import Certificate, Dog
from registry.web.buyer import budget
from registry.web.buyer.budget import Budget
from tests.archive.small_club import make_busy_club


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_args: Any) -> None:
        """Say nothing."""


@pytest.fixture(scope="module")
def site(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, list[str], list[str]]:
    """The folder, the certificates' numbers and the dogs' public ids; made while a visitor may ask
    once an hour for what costs work."""
    folder = tmp_path_factory.mktemp("farewell") / "site"
    with (
        django_db_blocker.unblock(),
        transaction.atomic(),
        pytest.MonkeyPatch.context() as patch,
    ):
        patch.setattr(budget, "BUDGET", Budget(1))
        make_busy_club()
        call_command("farewell", str(folder), stdout=StringIO())
        numbers = list(Certificate.objects.values_list("number", flat=True))
        dogs = list(Dog.objects.values_list("public_id", flat=True))
        transaction.set_rollback(True)
    return folder, numbers, dogs


@pytest.fixture(scope="module")
def host(site: tuple[Path, list[str], list[str]]) -> Iterator[str]:
    """The plainest of file servers."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=str(site[0])))
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()
    server.server_close()
    thread.join()


def read(address: str) -> str:
    with urlopen(address, timeout=10) as answer:  # noqa: S310
        return str(answer.read().decode())


def test_every_certificates_printed_address_answers_and_says_it_is_frozen(
    site: tuple[Path, list[str], list[str]], host: str
) -> None:
    pages = {number: read(f"{host}/C/{number}") for number in site[1]}

    assert len(pages) == 3
    for page in pages.values():
        assert re.search(r"Frozen on \d+ \w+ \d{4}\. What came later is not shown here", page)
    assert sum("Revoked" in page for page in pages.values()) == 1


def test_the_first_page_says_how_to_look_up_without_a_server(
    site: tuple[Path, list[str], list[str]], host: str
) -> None:
    assert "type its address: http://127.0.0.1:8000/C/ and its number" in read(f"{host}/")


def test_every_dog_answers(site: tuple[Path, list[str], list[str]], host: str) -> None:
    assert all("Frozen on" in read(f"{host}/dogs/{dog}/") for dog in site[2])


def test_every_link_and_file_of_every_page_is_there(
    site: tuple[Path, list[str], list[str]], host: str
) -> None:
    wanted: set[str] = set()
    for page in site[0].rglob("*.html"):
        wanted |= set(re.findall(r'(?:href|src)="(/[^"#?]*)', page.read_text("utf-8")))

    assert {"/help/", "/log/", "/breeds/"} < wanted
    assert any(path.endswith(".css") for path in wanted)
    assert [path for path in sorted(wanted) if not _answers(host + path)] == []


def test_nothing_needs_a_script_or_a_form(site: tuple[Path, list[str], list[str]]) -> None:
    pages = "".join(page.read_text("utf-8") for page in site[0].rglob("*.html"))

    assert "<script" not in pages
    assert "<form" not in pages
    assert "/sign-in/" not in pages


def test_the_files_that_prove_are_there(site: tuple[Path, list[str], list[str]], host: str) -> None:
    released = [number for number in site[1] if (site[0] / f"C/{number}.json").exists()]

    assert len(released) == 2
    for number in released:
        told = json.loads(read(f"{host}/C/{number}.json"))
        assert told["credentialSubject"]["name"].startswith("Tarnfold")
        ours = told["@context"][1].removeprefix("http://127.0.0.1:8000")
        assert "certificateNumber" in json.loads(read(f"{host}{ours}"))["@context"]
        assert (site[0] / f"C/{number}.pdf").read_bytes().startswith(b"%PDF")
    assert 'id="certificateNumber"' in read(f"{host}/vocabulary/")
    assert "assertionMethod" in read(f"{host}/issuer")
    assert read(f"{host}/log/checkpoint").count("\n") >= 5
    assert "BitstringStatusList" in read(f"{host}/status/revocation/0")


def test_a_file_that_is_refused_ends_it(
    transactional_db: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        BaseHandler, "get_response", lambda _self, _request: HttpResponse(status=429)
    )

    with pytest.raises(CommandError, match="/issuer was answered with 429"):
        call_command("farewell", str(tmp_path / "site"), stdout=StringIO())

    assert list(tmp_path.iterdir()) == []


def test_a_page_is_copied_to_the_letter_but_for_what_needs_a_server() -> None:
    page = (
        '<!doctype html><body><main id="m"><p>A &amp; B &#39; <svg viewBox="0 0 1 1"><path d="M0"/>'
        '</svg></p><a href="/in/">in</a><a href="/out/">out</a><form><input><b>x</b></form>'
        '<ul><li>A</li><li><a href="/out/">out</a></li></ul><section id="s"><h2>Gone</h2><ul>'
        '<li><a href="/out/">out</a></li></ul></section><script>1</script></main></body>'
    )

    copied, static = frozen(page, notice="F", leads_somewhere={"/in/"}.__contains__)

    assert static == set()
    assert copied == (
        '<!doctype html><body><main id="m"><p class="notice"><strong>F</strong></p><p>A &amp; B'
        ' &#39; <svg viewBox="0 0 1 1"><path d="M0"/></svg></p><a href="/in/">in</a>'
        "<span>out</span><ul><li>A</li></ul></main></body>"
    )


def _answers(address: str) -> bool:
    try:
        read(address)
    except UnicodeDecodeError:
        return True
    except OSError:
        return False
    return True
