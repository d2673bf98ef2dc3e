"""The scratch places of the measurements: a folder that vanishes, a database of their own name.

The club's own ``var/`` and database are never touched.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import psycopg

from tests import reach

_NAME = "soundline_bench"
ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Place:
    """A database's name for the table, and the environment that leads a process to it."""

    database: str
    folder: Path
    environment: dict[str, str]


@contextmanager
def place(database: str, *, quick: bool) -> Iterator[Place]:
    """An empty database (``SQLite`` or ``PostgreSQL``) and a folder, both gone afterwards."""
    with TemporaryDirectory(prefix="soundline-bench-") as name:
        environment = {
            **os.environ,
            "SOUNDLINE_MODE": "demo",
            "SOUNDLINE_VAR": name,
            "SOUNDLINE_BENCH_QUICK": "1" if quick else "0",
            "DJANGO_SETTINGS_MODULE": "tests.bench.site",
        }
        environment.pop("DATABASE_URL", None)
        if database == "SQLite":
            yield Place(database, Path(name), environment)
            return
        server = (reach.postgres() or reach.POSTGRES).rsplit("/", 1)[0]
        _recreate(server)
        try:
            environment["DATABASE_URL"] = f"{server}/{_NAME}"
            yield Place(database, Path(name), environment)
        finally:
            _drop(server)


def _recreate(server: str) -> None:
    _drop(server)
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {_NAME}")


def _drop(server: str) -> None:
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {_NAME} WITH (FORCE)")
