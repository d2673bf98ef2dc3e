"""Breeding runs whose workers are killed; then everything they left is looked at.

``main`` runs in a process of its own, with the registry's real settings, its tasks in a scratch
database. Each round it asks for a run and forks ``manage.py work --once``, which is killed with
SIGKILL: in the first round in the middle of the computation, later at random moments. The lease is
then made to lapse, as a quarter of an hour would, and the next worker is left alone. At the end it
prints, as JSON, what it found. Judging is ``test_killed_run``'s work.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import timedelta
from typing import Any
from unittest.mock import patch

from django.core.management import call_command
from django.db import connections
from django.utils import timezone

from registry.desk import breeding
from registry.ledger import Actor
from registry.ledger.verify import verify
from registry.models import Breed, BreedingRun, LedgerEntry, RunState
from tests.bred import make_bred
from tests.factories import make_club

COMMAND = "import django; django.setup(); from tests.reliability.killed_runs import main; main()"
_LONGEST_LIFE_SECONDS = 1.5


@dataclass
class Found:
    """What was seen after the last kill."""

    killed_while_running: int = 0
    states: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    claims: list[int] = field(default_factory=list)
    entries: list[int] = field(default_factory=list)
    columns: list[int] = field(default_factory=list)
    results: list[str] = field(default_factory=list)
    ledger_is_whole: bool = False


def in_a_child(deed: Callable[[], None]) -> int:
    """Fork a process that does it and ends."""
    connections.close_all()
    child = os.fork()
    if child == 0:
        try:
            deed()
        finally:
            os._exit(0)
    return child


def work() -> None:
    """One round of the worker."""
    call_command("work", "--once")


def work_without_end() -> None:
    """One round of a worker that never gets through its computation."""
    with patch.object(breeding, "compute", lambda *_given, **_named: time.sleep(600)):
        work()


def wait_until_running(run: BreedingRun) -> None:
    """Until the worker has claimed the run."""
    for _ in range(2_000):
        run.refresh_from_db()
        if run.state == RunState.RUNNING:
            return
        time.sleep(0.01)
    raise RuntimeError("no worker took the run")


def one_round(breed: Breed, chance: random.Random, found: Found, *, is_first: bool) -> None:
    """Ask, kill, let the lease lapse, and let the next worker work."""
    run = breeding.ask_for_run(by=Actor.system(), breed_slug=breed.slug)
    child = in_a_child(work_without_end if is_first else work)
    if is_first:
        wait_until_running(run)
    else:
        time.sleep(chance.uniform(0, _LONGEST_LIFE_SECONDS))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    connections.close_all()
    run.refresh_from_db()
    found.killed_while_running += run.state == RunState.RUNNING
    BreedingRun.objects.filter(pk=run.pk, lease_until__isnull=False).update(
        lease_until=timezone.now() - timedelta(seconds=1)
    )
    os.waitpid(in_a_child(work), 0)


def look(found: Found) -> None:
    """Each run's state, how many entries and columns it has, and what its results are."""
    subjects: dict[int, int] = {}
    for body in LedgerEntry.objects.filter(action="breeding.run").values_list("body", flat=True):
        number: Any = json.loads(body)["values"]["number"]["to"]
        subjects[number] = subjects.get(number, 0) + 1
    for run in BreedingRun.objects.order_by("number"):
        found.states.append(run.state)
        found.errors += [run.error] if run.error else []
        found.claims.append(run.claims)
        found.entries.append(subjects.get(run.number, 0))
        found.columns.append(run.columns.count())
        found.results.append(run.results_sha256)
    found.ledger_is_whole = verify().is_whole


def main() -> None:
    """Make the breed, kill its workers, look, print."""
    rounds, seed = int(sys.argv[1]), int(sys.argv[2])
    call_command("migrate", "--no-input", "--verbosity", "0")
    club = make_club()
    make_bred(club)
    chance, found = random.Random(seed), Found()
    for number in range(rounds):
        one_round(club.breed, chance, found, is_first=number == 0)
    look(found)
    sys.stdout.write(json.dumps(asdict(found)))
