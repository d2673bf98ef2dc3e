"""How many certificate pages a second the server gives, against an empty view of the same server.

The server is gunicorn as shipped, with all its middleware. The certificates are of dogs in the
largest breed, with all four traits, both parents and litter mates. Once nothing finished is
remembered (every page is made anew), once the shipped way: markup remembered by its content, all
content read from the database for every request.
"""

from __future__ import annotations

import gzip
import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from itertools import count
from statistics import median
from typing import Any
from unittest.mock import patch

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.desk import mail
from tests.bench.bench_approval import the_club
from tests.bench.load import client, requests_a_second
from tests.bench.places import ROOT
from tests.bench.rounds import QUICK, Row, row_of
from tests.factories import Club, make_accepted, make_dog

ROUNDS, SECONDS, LITTERS = (2, 1, 2) if QUICK else (7, 2, 40)


def run() -> list[Row]:
    """Return the rows of the page: uncached, remembered, its queries, its first visit."""
    with patch.object(mail, "_send_quietly", lambda _pk: True):
        paths = [f"/C/{number}" for number in _certificates(the_club())]
    n = f"{ROUNDS} rounds of {SECONDS} s, {len(paths)} certificates in turn, {client()}"
    rows = []
    for what, kept, goal in (
        ("certificate page, made anew (its rate)", "0", ">= 0.25"),
        ("certificate page, remembered and checked (its rate)", "1000", ">= 0.45"),
    ):
        with _server(kept) as port:
            ratios, page, empty = _rates(port, paths)
            if kept == "0":
                visit = _first_visit(port, paths[0])
        rows.append(
            row_of(
                ratios,
                what=what,
                against="an empty view of the same server (its rate)",
                goal=goal,
                n=n,
                detail=f"{page:.0f} against {empty:.0f} requests a second",
            )
        )
    return [*rows, _queries(paths), visit]


def _certificates(club: Club) -> Iterator[str]:
    """Numbers of accepted results: litters with both parents, all traits on both sides."""
    chips = (f"27607{place:010d}" for place in count())
    for litter in range(LITTERS):
        grown, born = date(2020, 1, 15), date(2024, 2, 1 + litter % 28)
        sire = make_dog(club, sex="M", born_on=grown, chip=next(chips))
        dam = make_dog(club, born_on=grown, chip=next(chips))
        family: dict[str, Any] = {"sire": sire.public_id, "dam": dam.public_id}
        pups = [make_dog(club, born_on=born, chip=next(chips), **family) for _ in "12345"]
        for place, dog in enumerate([sire, dam, *pups]):
            yield make_accepted(club, dog, readings=_readings(place + litter)).number


def _readings(seed: int) -> list[dict[str, str]]:
    values = {
        "hip-laxity": (f"0.{25 + seed % 30}", f"0.{28 + seed % 25}"),
        "norberg-angle": (f"{98 + seed % 12}.5", f"{99 + seed % 11}.0"),
        "hip-grade-extended": ("ABCD"[seed % 4], "ABC"[seed % 3]),
        "elbow-grade": ("012"[seed % 3], "01"[seed % 2]),
    }
    return [
        {"trait": trait, "side": side, "value": value}
        for trait, sides in values.items()
        for side, value in zip(("left", "right"), sides, strict=True)
    ]


def _rates(port: int, paths: list[str]) -> tuple[list[float], float, float]:
    """Page over empty view for each round, and the median rate of both."""
    pages: list[float] = []
    empties: list[float] = []
    for turn in range(ROUNDS + 1):
        for is_page in (turn % 2 == 0, turn % 2 == 1):
            asked = paths if is_page else ["/empty"]
            (pages if is_page else empties).append(requests_a_second(port, asked, SECONDS))
    ratios = [page / empty for page, empty in zip(pages[1:], empties[1:], strict=True)]
    return ratios, median(pages[1:]), median(empties[1:])


@contextmanager
def _server(sections_kept: str) -> Iterator[int]:
    """The web server as shipped, on a free port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {
        **os.environ,
        "SOUNDLINE_BIND": f"127.0.0.1:{port}",
        "SOUNDLINE_SECTIONS_KEPT": sections_kept,
    }
    server = subprocess.Popen([sys.executable, "-m", "gunicorn"], cwd=ROOT, env=environment)
    try:
        _wait_for(port)
        yield port
    finally:
        server.terminate()
        server.wait(timeout=30)


def _wait_for(port: int) -> None:
    for _attempt in range(100):
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/empty", timeout=5).close()
        except urllib.error.URLError:
            time.sleep(0.2)
        else:
            return
    raise RuntimeError("the server did not come up")


def _queries(paths: list[str]) -> Row:
    asker = Client(headers={"host": "127.0.0.1"})
    asker.get(paths[0])
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert asker.get(paths[1]).status_code == 200
    return {
        "what": "queries of a certificate page",
        "against": "none: a count",
        "ratio": len(asked),
        "goal": "<= 6",
        "n": "1 page",
        "detail": "",
    }


def _first_visit(port: int, path: str) -> Row:
    """Bytes of the page and of all it loads, packed as a proxy and this server send them."""
    page, _headers = _fetched(port, path)
    sizes = [len(gzip.compress(page, 5))]
    linked = re.findall(rb'(?:<link[^>]*?href|<script[^>]*?src|<img[^>]*?src)="(/[^"]+)"', page)
    for address in sorted(set(linked)):
        body, encoding = _fetched(port, address.decode())
        sizes.append(len(body if encoding == "gzip" else gzip.compress(body, 5)))
    kilobytes = sum(sizes) / 1000
    return {
        "what": "first visit of a certificate page, kB",
        "against": "none: the bytes of page, style sheet, pictures",
        "ratio": kilobytes,
        "goal": "<= 40",
        "n": f"{len(sizes)} files",
        "detail": (
            f"the page {sizes[0] / 1000:.1f} kB (gzip 5, as the proxy packs it; unpacked"
            f" {len(page) / 1000:.0f} kB), the rest {sum(sizes[1:]) / 1000:.1f} kB"
        ),
    }


def _fetched(port: int, path: str) -> tuple[bytes, str]:
    """The body as sent, and how it is packed."""
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}{path}", headers={"Accept-Encoding": "gzip"}
    )
    with urllib.request.urlopen(request, timeout=10) as response:  # noqa: S310
        return response.read(), response.headers.get("Content-Encoding", "")
