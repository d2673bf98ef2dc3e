"""How long every dog's inbreeding takes, from the parents' places on, and how much memory.

The reference is the plain way, one dog after the other in Python. The pedigrees are made up; a
breed of forty cohorts stands for one with a long history.
"""

from __future__ import annotations

import resource
import statistics
from functools import partial

import numpy as np

from registry.science.inbreeding import inbreeding
from registry.science.pedigree import Pedigree
from registry.science.stock import Numbers
from tests.bench import plain
from tests.bench.pedigrees import MadeUp, made_up
from tests.bench.rounds import QUICK, Row, in_turns, readable, take_turns

ROUNDS = 2 if QUICK else 5
_SMALL, _MIDDLE, _LARGE = (500, 1_000, 2_000) if QUICK else (10_000, 100_000, 1_000_000)


def run() -> list[Row]:
    """Return the rows: speed, agreement, seconds and memory of the largest, growth."""
    large = made_up(_LARGE)
    # Before anything else, for the references would raise the peak.
    before = _peak_mib()
    _found(large)
    peak = _peak_mib()
    return [
        *_against_plain(made_up(_MIDDLE)),
        *_as_it_grows([made_up(_SMALL), made_up(_MIDDLE), large, made_up(_LARGE, cohorts=40)]),
        {
            "what": f"peak memory of the inbreeding of {_LARGE:,} dogs, MiB",
            "against": "none: the whole process",
            "ratio": peak,
            "goal": "<= 400",
            "detail": f"{before:.0f} MiB before it began, with Django and the made-up pedigree",
        },
    ]


def _against_plain(breed: MadeUp) -> list[Row]:
    sire, dam = breed.sire.tolist(), breed.dam.tolist()
    turns = in_turns(
        lambda: plain.inbreeding(sire, dam), lambda: _found(breed), rounds=ROUNDS, warm=1
    )
    difference = np.abs(_found(breed) - plain.inbreeding(sire, dam)).max()
    return [
        turns.row(
            what=f"inbreeding of {_MIDDLE:,} dogs",
            against="plain Python, littermates copied (time of this over time of ours)",
            goal=">= 10",
            n=f"{ROUNDS} rounds",
        ),
        {
            "what": "inbreeding, largest difference of one dog",
            "against": "the plain way's value",
            "ratio": float(difference),
            "goal": "<= 1e-12",
            "n": f"{_MIDDLE:,} dogs",
            "detail": "",
        },
    ]


def _as_it_grows(breeds: list[MadeUp]) -> list[Row]:
    turns = take_turns([partial(_found, breed) for breed in breeds], rounds=ROUNDS, warm=1)
    small, middle, large, deep = (statistics.median(seconds) for seconds in turns)
    growth = [
        (own / _LARGE) / (other / _SMALL) for own, other in zip(turns[2], turns[0], strict=True)
    ]
    return [
        _seconds(f"inbreeding of {_LARGE:,} dogs in 15 cohorts, s", large, turns[2]),
        _seconds(f"inbreeding of {_LARGE:,} dogs in 40 cohorts, s", deep, turns[3]),
        {
            "what": f"inbreeding, time a dog among {_LARGE:,}",
            "against": f"time a dog among {_SMALL:,}",
            "ratio": statistics.median(growth),
            "low": min(growth),
            "high": max(growth),
            "goal": "<= 3",
            "n": f"{ROUNDS} rounds",
            "detail": (
                f"{_SMALL:,} dogs {readable(small)}, {_MIDDLE:,} dogs {readable(middle)},"
                f" {_LARGE:,} dogs {readable(large)}"
            ),
        },
    ]


def _seconds(what: str, middle: float, seconds: list[float]) -> Row:
    return {
        "what": what,
        "against": "none: seconds",
        "ratio": middle,
        "low": min(seconds),
        "high": max(seconds),
        "goal": "<= 20",
        "n": f"{ROUNDS} rounds",
        "detail": "the pedigree put in order first",
    }


def _found(breed: MadeUp) -> Numbers:
    return inbreeding(Pedigree.of(breed.sire, breed.dam))


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
