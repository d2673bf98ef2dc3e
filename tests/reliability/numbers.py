"""How often the reliability tests try: few times in every run, often in ``make soak``, which also
writes down what was really done.

A line of the record is one part of one row of the table, which ``tests/soak.py`` makes.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime

from django.db import connection

from tests.reliability.record import RECORD, ROOT, Line, What

IS_SOAK = os.environ.get("SOUNDLINE_SOAK") == "1"


@dataclass
class Count:
    """How many were tried so far, and how many of them went wrong."""

    done: int = 0
    failures: int = 0


def times(*, soak: int, short: int) -> int:
    """The number that holds in this run."""
    return soak if IS_SOAK else short


@contextmanager
def counted(what: What, part: str = "") -> Iterator[Count]:
    """Count what is tried inside; in a soak, write it down even if it ends in a failure."""
    count = Count()
    try:
        yield count
    except BaseException:
        count.failures = max(count.failures, 1)
        raise
    finally:
        write_down(what, part, count)


def write_down(what: What, part: str, count: Count) -> None:
    """Say the number, and in a soak add it to the record."""
    sys.stdout.write(f"{what} {part} ({connection.vendor}): {count.done}, {count.failures} wrong\n")
    if not IS_SOAK:
        return
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"],
        check=True,
        capture_output=True,
        text=True,
        cwd=ROOT,
    ).stdout.strip()
    line = Line(
        what=what,
        part=part,
        database="PostgreSQL" if connection.vendor == "postgresql" else "SQLite",
        done=count.done,
        failures=count.failures,
        day=datetime.now(UTC).date().isoformat(),
        commit=commit,
    )
    RECORD.parent.mkdir(parents=True, exist_ok=True)
    with RECORD.open("a", encoding="utf-8") as file:
        file.write(json.dumps(line) + "\n")
