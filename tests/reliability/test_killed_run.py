"""A breeding run whose worker is killed is finished by the next one, whole and once."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from collections.abc import Iterator

import pytest

from tests.reliability.killed_runs import COMMAND, Found
from tests.reliability.test_kill import ROOT, scratch_database

ROUNDS = 3


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Found]:
    """What was there after the last of the kills."""
    seed = random.randrange(10**6)
    for url in scratch_database():
        variables = {
            "PATH": os.environ["PATH"],
            "DJANGO_SETTINGS_MODULE": "registry.settings",
            "SOUNDLINE_MODE": "demo",
            "SOUNDLINE_VAR": str(tmp_path_factory.mktemp("killed-runs")),
            **({"DATABASE_URL": url} if url else {}),
        }
        run = subprocess.run(
            [sys.executable, "-c", COMMAND, str(ROUNDS), str(seed)],
            check=False,
            cwd=ROOT,
            env=variables,
            capture_output=True,
            text=True,
            timeout=300,
        )
        assert run.returncode == 0, f"seed {seed}: {run.stderr[-4000:]}"
        yield Found(**json.loads(run.stdout))


def test_a_worker_was_killed_while_it_computed(found: Found) -> None:
    assert found.killed_while_running >= 1
    assert found.claims[0] == 2


def test_every_run_was_finished(found: Found) -> None:
    assert found.errors == []
    assert found.states == ["done"] * ROUNDS


def test_every_run_was_stored_once(found: Found) -> None:
    assert found.entries == [1] * ROUNDS


def test_the_last_two_have_all_their_columns(found: Found) -> None:
    # Four of the pedigree and four of the one trait; older runs keep none.
    assert found.columns == [0] * (ROUNDS - 2) + [8, 8]


def test_nothing_of_a_killed_computation_is_in_the_results(found: Found) -> None:
    assert len(set(found.results)) == 1
    assert len(found.results[0]) == 64


def test_the_ledger_is_whole(found: Found) -> None:
    assert found.ledger_is_whole
