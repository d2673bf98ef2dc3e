"""A killed process loses nothing that was answered, and leaves nothing half done."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from django.conf import settings
from django.db import connection

from tests.reliability.busy_club import COMMAND, Found
from tests.reliability.numbers import Count, times, write_down
from tests.reliability.record import What

KILLS = times(soak=200, short=60)
SUBMISSIONS = times(soak=2_000, short=60)
ROOT = Path(settings.BASE_DIR)


def scratch_database() -> Iterator[str | None]:
    """The address of an empty PostgreSQL database, gone afterwards; None for a SQLite file."""
    if connection.vendor != "postgresql":
        yield None
        return
    facts = connection.settings_dict
    user = f"{facts['USER']}:{facts['PASSWORD']}" if facts["PASSWORD"] else facts["USER"]
    server = f"postgres://{user}@{facts['HOST']}:{facts['PORT'] or 5432}"
    name = f"soundline_killed_{os.getpid()}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as admin:
        admin.execute(f"DROP DATABASE IF EXISTS {name}")
        admin.execute(f"CREATE DATABASE {name}")
        yield f"{server}/{name}"
        admin.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Found]:
    """What was there after the last of the kills."""
    seed = random.randrange(10**6)
    for url in scratch_database():
        variables = {
            "PATH": os.environ["PATH"],
            "DJANGO_SETTINGS_MODULE": "registry.settings",
            "SOUNDLINE_MODE": "demo",
            "SOUNDLINE_VAR": str(tmp_path_factory.mktemp("killed")),
            **({"DATABASE_URL": url} if url else {}),
        }
        run = subprocess.run(
            [sys.executable, "-c", COMMAND, str(KILLS), str(SUBMISSIONS), str(seed)],
            check=False,
            cwd=ROOT,
            env=variables,
            capture_output=True,
            text=True,
            timeout=times(soak=3_600, short=300),
        )
        assert run.returncode == 0, f"seed {seed}: {run.stderr[-4000:]}"
        found = Found(**json.loads(run.stdout))
        write_down(What.KILLS, "", Count(found.kills, len(found.half_evaluations)))
        write_down(What.KILLED_SUBMISSIONS, "", Count(found.acknowledged, len(found.lost)))
        yield found


def test_it_was_killed_while_it_worked(found: Found) -> None:
    assert found.kills >= KILLS
    # Were fewer answered than this, the kills would have hit nothing.
    assert found.acknowledged >= SUBMISSIONS // 2
    assert found.acknowledged_files >= found.acknowledged


def test_every_answered_result_is_there(found: Found) -> None:
    assert found.lost == []


def test_every_answered_file_is_there_byte_for_byte(found: Found) -> None:
    assert found.lost_files == []
    assert found.half_files == []


def test_every_answered_certificate_is_there(found: Found) -> None:
    assert found.lost_decisions == []


def test_no_result_is_half_written(found: Found) -> None:
    assert found.half_evaluations == []
    assert found.entries_without_object == []
    assert found.drafts_sent_twice == []


def test_no_decision_is_half_written(found: Found) -> None:
    assert found.half_decisions == []


def test_the_ledger_is_whole_and_the_counts_agree(found: Found) -> None:
    assert found.ledger_is_whole
    assert found.counts_agree


def test_only_files_without_a_row_are_left_over_and_the_sweep_takes_just_those(
    found: Found,
) -> None:
    # A kill interrupts one file at the most.
    assert found.nameless_files <= found.kills
    assert found.nameless_files_after_sweep == 0
    assert found.files_swept_wrongly == []
