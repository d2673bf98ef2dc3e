"""How long a certificate's PDF takes, against the typesetter's plain one-shot call.

Both set the same sheet with other words each time, so that neither finds it made
already, and both make its QR code.
"""

import json
import statistics
from collections.abc import Callable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import Any

import typst

from registry.paper import certificate
from registry.paper.certificate import cached_pdf, certificate_pdf
from registry.paper.content import CertificatePaper
from tests.paper.sheets import make_paper

ROUNDS = 25

Way = Callable[[CertificatePaper], Callable[[], object]]
"""Gets a sheet ready, and returns the call that is timed."""


def run() -> list[dict[str, Any]]:
    """Return the rows of the benchmark: what, against, ratio, goal, detail."""
    timed = _medians(
        {
            "warm": _warm,
            "one_shot": _one_shot,
            "given_all": _one_shot_given_all,
            "no_search": partial(_one_shot, ignore_system_fonts=True),
        }
    )
    with TemporaryDirectory() as name:
        kept = cached_pdf(make_paper(), directory=Path(name))
        began = perf_counter()
        again = cached_pdf(make_paper(), directory=Path(name))
        cached = perf_counter() - began
    assert kept == again
    warm, one_shot = timed["warm"], timed["one_shot"]
    return [
        {
            "what": "certificate PDF, warm, QR included",
            "against": "typst.compile() of the same page, QR included",
            "ratio": warm / one_shot,
            "goal": "<= 0.6",
            "detail": (
                f"{warm * 1e3:.1f} ms against {one_shot * 1e3:.1f} ms; ratio "
                f"{warm / timed['given_all']:.2f} when the one-shot call is handed the QR code, "
                f"{warm / timed['no_search']:.2f} when it skips the machine's fonts as we do"
            ),
        },
        {
            "what": "certificate PDF, kept from before",
            "against": "the same, warm",
            "ratio": cached / warm,
            "goal": "<= 0.1",
            "detail": f"{cached * 1e3:.2f} ms",
        },
    ]


def _medians(ways: dict[str, Way]) -> dict[str, float]:
    """Time the ways in turn, so that a busy moment of the machine meets them all."""
    times: dict[str, list[float]] = {name: [] for name in ways}
    for turn in range(ROUNDS + 2):
        for name, prepared in ways.items():
            host = name.replace("_", "-")
            call = prepared(
                make_paper(dog_name=f"{host} {turn}", url=f"https://{host}.example/{turn}")
            )
            began = perf_counter()
            call()
            times[name].append(perf_counter() - began)
    return {name: statistics.median(seconds[2:]) for name, seconds in times.items()}


def _warm(paper: CertificatePaper) -> Callable[[], object]:
    return lambda: certificate_pdf(paper)


def _one_shot(paper: CertificatePaper, **arguments: Any) -> Callable[[], object]:
    return lambda: _compiled_at_once(paper, certificate._content(paper), **arguments)


def _one_shot_given_all(paper: CertificatePaper, **arguments: Any) -> Callable[[], object]:
    content = certificate._content(paper)
    return lambda: _compiled_at_once(paper, content, **arguments)


def _compiled_at_once(paper: CertificatePaper, content: Any, **arguments: Any) -> object:
    return typst.compile(
        str(certificate._TEMPLATE),
        format="pdf",
        sys_inputs={"paper": json.dumps(content), "scale": "1.0"},
        pdf_standards=certificate._STANDARDS,
        timestamp=int(paper.issued_at.timestamp()),
        **arguments,
    )


if __name__ == "__main__":
    for row in run():
        print(row)  # noqa: T201 - a script's output
