"""How long a whole breeding run takes, from the database to stored values, and how much memory.

Measured is what ``manage.py breeding --now`` does: read the breed's pedigree and records in one
snapshot, compute, take the fingerprints, store every column, write the ledger. The reference is its
numerical core alone, on the same inputs in memory: inbreeding, variances by REML (of the newest
litters, as a breed of that size gets them), breeding values, reliabilities, the breed's course.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from dataclasses import dataclass

from registry.desk.breeding import compute_now
from registry.desk.breeding_computation import compute
from registry.desk.breeding_inputs import Inputs, one_snapshot, read_inputs
from registry.ledger import Actor
from registry.models import Breed, BreedingRun, RunState, TraitRun
from tests.bench.great_breed import NAME
from tests.bench.places import ROOT
from tests.bench.rounds import QUICK, Row, Turns, readable, take_turns

ROUNDS = 2 if QUICK else 3


@dataclass(frozen=True)
class _Run:
    breed: Breed

    def __call__(self) -> BreedingRun:
        run = compute_now(by=Actor.system(), breed_slug=self.breed.slug)
        if run.state != RunState.DONE:
            raise RuntimeError(run.error)
        return run


def run() -> list[Row]:
    """Return the rows of the whole run: against its core, memory, how it divides."""
    command = [sys.executable, "-m", "tests.bench.alone", "fill_great_breed", "-"]
    subprocess.run(command, check=True, cwd=ROOT, env=os.environ)
    breed = Breed.objects.get(name=NAME)
    whole = _Run(breed)
    # The first pass alone tells the memory.
    first = whole()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    with one_snapshot():
        inputs = read_inputs(breed)
    measured, core, reading = take_turns(
        [whole, lambda: compute(inputs), lambda: _read(breed)], rounds=ROUNDS, warm=0
    )
    last = BreedingRun.objects.latest("number")
    if (first.inputs_sha256, first.results_sha256) != (last.inputs_sha256, last.results_sha256):
        raise RuntimeError("the same inputs gave other results")
    found = TraitRun.objects.get(run=last, trait__slug="hip-laxity")
    n = f"{last.dogs:,} dogs, {found.records:,} records, one trait"
    return [
        Turns(measured, core).row(
            what="a whole breeding run, from the database to stored values",
            against="its numerical core alone, inputs in memory",
            goal="<= 3",
            n=n,
            detail=(
                f"of it reading {readable(min(reading))}; heritability {found.heritability:.2f}"
                f" ± {found.heritability_se or 0:.2f}, true 0.45; reliabilities {found.method};"
                " the same results to the last bit each time"
            ),
        ),
        {
            "what": "peak memory of a whole breeding run",
            "against": "1 GiB",
            "ratio": peak / 1024,
            "goal": "<= 1",
            "n": n,
            "detail": f"{peak:.0f} MiB for the whole process",
        },
    ]


def _read(breed: Breed) -> Inputs:
    with one_snapshot():
        return read_inputs(breed)
