"""How long the kinships of one bitch with thousands of males take, in a pedigree read already.

The reference goes through the same pairs one by one in plain Python. It is timed over all pairs.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from functools import partial

import numpy as np

from registry.science.inbreeding import inbreeding
from registry.science.kinship import kinship_with
from registry.science.pedigree import Pedigree
from registry.science.stock import Numbers, Places
from tests.bench import plain
from tests.bench.pedigrees import made_up
from tests.bench.rounds import QUICK, Row, in_turns, readable, take_turns

ROUNDS = 2 if QUICK else 5
_SIZES = (500, 1_000, 2_000) if QUICK else (10_000, 100_000, 1_000_000)
_MALES = 50 if QUICK else 5_000


@dataclass(frozen=True)
class _Question:
    """One bitch of the youngest cohort and the youngest males of the breed."""

    pedigree: Pedigree
    inbreeding: Numbers
    bitch: int
    males: Places

    @classmethod
    def of(cls, dogs: int) -> _Question:
        breed = made_up(dogs)
        pedigree = Pedigree.of(breed.sire, breed.dam)
        males = np.flatnonzero(breed.is_male)[-_MALES:]
        return cls(pedigree, inbreeding(pedigree), int(np.flatnonzero(~breed.is_male)[-1]), males)

    def answer(self) -> Numbers:
        return kinship_with(self.pedigree, self.inbreeding, self.bitch, self.males)


def run() -> list[Row]:
    """Return the rows: speed and agreement in the largest pedigree, and the growth."""
    questions = [_Question.of(dogs) for dogs in _SIZES]
    largest = questions[-1]
    pairwise = _pairwise(largest)
    turns = in_turns(pairwise, largest.answer, rounds=min(ROUNDS, 3), warm=1)
    difference = np.abs(largest.answer() - pairwise()).max()
    grown = take_turns([question.answer for question in questions], rounds=ROUNDS, times=10)
    milliseconds = [1000 * second for second in grown[-1]]
    times = ", ".join(
        f"{dogs:,} dogs {readable(statistics.median(seconds))}"
        for dogs, seconds in zip(_SIZES, grown, strict=True)
    )
    pairs = f"{len(largest.males):,} males among {_SIZES[-1]:,} dogs"
    return [
        turns.row(
            what="kinships of one bitch with many males",
            against="plain Python, pair by pair (time of this over time of ours)",
            goal=">= 50",
            n=pairs,
        ),
        {
            "what": "kinships, largest difference of one pair",
            "against": "the plain way's value",
            "ratio": float(difference),
            "goal": "<= 1e-12",
            "n": pairs,
            "detail": "",
        },
        {
            "what": "kinships of one bitch with many males, ms",
            "against": "none: milliseconds",
            "ratio": statistics.median(milliseconds),
            "low": min(milliseconds),
            "high": max(milliseconds),
            "goal": "<= 20",
            "n": pairs,
            "detail": times,
        },
    ]


def _pairwise(question: _Question) -> partial[list[float]]:
    sire, dam = question.pedigree.sire.tolist(), question.pedigree.dam.tolist()
    known = question.inbreeding.tolist()
    variance = plain.mendelian_variances(sire, dam, known)
    males = question.males.tolist()
    return partial(_each, sire, dam, known, variance, question.bitch, males)


def _each(
    sire: list[int],
    dam: list[int],
    known: list[float],
    variance: list[float],
    bitch: int,
    males: list[int],
) -> list[float]:
    return [plain.kinship(sire, dam, known, variance, bitch, male) for male in males]
