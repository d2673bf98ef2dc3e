"""A registry of a former version in a database of its own, and commands run on it as on a site."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import psycopg
from django.conf import settings
from django.db import connection

from tests.archive.older import FOLDER, LOG_KEY

# What a restore does not do: leave the tables as they were.
_FILL = """
import sys; from pathlib import Path
import django; django.setup()
from django.conf import settings
from django.core.management import call_command
from registry.archive.checking import check, opened, schema_of
from registry.desk.archive import put_rows_back
source = opened(Path(sys.argv[1])); manifest = check(source); schema = schema_of(manifest)
for app, name in schema.migrations.items():
    call_command("migrate", app, name, verbosity=0)
put_rows_back(source, schema.models)
root = Path(settings.EVIDENCE_ROOT); root.mkdir(parents=True)
for name in source.names():
    if name.startswith("evidence/"):
        (root / name.removeprefix("evidence/")).write_bytes(b"".join(source.open(name)))
"""
_CONTENT = """
import django; django.setup()
from registry.archive.writing import content_now
from registry.archive.schema import schema_of_database
print(schema_of_database().migrations["registry"], content_now())
"""


@dataclass(frozen=True)
class Scene:
    """Where the registry lies; ``variables`` are those of its processes."""

    folder: Path
    variables: dict[str, str]

    @property
    def backups(self) -> list[Path]:
        """Every backup there is, whole or not."""
        folder = self.folder / "backups"
        return sorted(folder.iterdir()) if folder.exists() else []

    def start(self, *arguments: str, **more: str) -> subprocess.Popen[str]:
        """Begin a process of the registry."""
        return subprocess.Popen(
            [sys.executable, *arguments],
            cwd=settings.BASE_DIR,
            env={**self.variables, **more},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def run(self, *arguments: str, **more: str) -> tuple[int, str]:
        """Run it to its end: how it ended, and what it said."""
        process = self.start(*arguments, **more)
        said, _ = process.communicate(timeout=300)
        return process.returncode, said

    def upgrade(self, *options: str, **more: str) -> tuple[int, str]:
        """Run the command."""
        return self.run("manage.py", "upgrade", *options, **more)

    def state(self) -> str:
        """The last migration, and the hash of all rows and files."""
        code, said = self.run("-c", _CONTENT)
        assert code == 0, said
        return said


@contextmanager
def old_registry(folder: Path, name: str) -> Iterator[Scene]:
    """The registry of an older archive, on the kind of database that the tests run on."""
    with _database() as url:
        variables = {
            "PATH": os.environ["PATH"],
            "DJANGO_SETTINGS_MODULE": "registry.settings",
            "SOUNDLINE_MODE": "demo",
            "SOUNDLINE_VAR": str(folder),
            "SOUNDLINE_LOG_KEY": LOG_KEY,
            **({"DATABASE_URL": url} if url else {}),
        }
        scene = Scene(folder, variables)
        code, said = scene.run("-c", _FILL, str(FOLDER / f"{name}.zip"))
        assert code == 0, said
        yield scene


@contextmanager
def _database() -> Iterator[str | None]:
    """The address of an empty PostgreSQL database; None for a SQLite file in the folder."""
    if connection.vendor != "postgresql":
        yield None
        return
    facts = connection.settings_dict
    user = f"{facts['USER']}:{facts['PASSWORD']}" if facts["PASSWORD"] else facts["USER"]
    server = f"postgres://{user}@{facts['HOST']}:{facts['PORT'] or 5432}"
    name = f"soundline_upgrade_{os.getpid()}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as admin:
        admin.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        admin.execute(f"CREATE DATABASE {name}")
        yield f"{server}/{name}"
        admin.execute(f"DROP DATABASE {name} WITH (FORCE)")
