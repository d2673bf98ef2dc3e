"""Put an archive into a scratch SQLite file and folder, by a process of its own that knows this
registry's settings and touches nothing of it: for practice, or to bring an older one up to date."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from django.conf import settings

from registry.archive.containers import FolderSource, JoinedSource, Member, Source
from registry.archive.inventory import kept_models, member_of
from registry.archive.manifest import Manifest
from registry.archive.schema import todays_schema

_LONGEST_SECONDS = 6 * 60 * 60
_ELSEWHERE = ("DATABASE_URL", "SOUNDLINE_EVIDENCE_ROOT", "SOUNDLINE_BACKUP_KEY")


class CannotRenewError(Exception):
    """An older archive that could not be brought up to date; says what the other process said."""


def scratch_environment(folder: Path) -> dict[str, str]:
    """The variables of a process whose registry lies in the folder, with this one's keys."""
    variables = {
        name: value
        for name, value in os.environ.items()
        if name.removesuffix("_FILE") not in _ELSEWHERE
    }
    return variables | {
        "DATABASE_URL": f"sqlite:///{folder / 'practice.sqlite3'}",
        "SOUNDLINE_EVIDENCE_ROOT": str(folder / "evidence"),
        "SOUNDLINE_BACKUP_KEY": settings.BACKUP_KEY,
        "DJANGO_SETTINGS_MODULE": "registry.settings",
    }


def put_back_for_practice(archive: Path, folder: Path) -> tuple[bool, str]:
    """Restore into the folder and verify there; whether it went well, and what was said."""
    return _restored(archive, folder)


@contextmanager
def renewed(archive: Path, source: Source, manifest: Manifest) -> Iterator[tuple[Source, Manifest]]:
    """An older archive as this program would have written it: its rows taken through the migrations
    it has not seen, in a scratch database. Evidence is read where it lies.

    Raises CannotRenewError.
    """
    # Beside the registry's own files: a machine's temporary folder may lie in its memory.
    Path(settings.VAR_DIR).mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(prefix="renewal-", dir=settings.VAR_DIR) as name:
        folder = Path(name)
        ok, said = _restored(archive, folder, "--renew", str(folder / "rows-of-today"))
        if not ok:
            raise CannotRenewError(said)
        rows = FolderSource(folder / "rows-of-today")
        evidence = tuple(each for each in manifest.members if each.name.startswith("evidence/"))
        members = (*(_member(rows, member_of(model)) for model in kept_models()), *evidence)
        schema = todays_schema()
        facts = {
            **manifest.facts,
            "migration": schema.migrations["registry"],
            "migrations": dict(schema.migrations),
        }
        yield JoinedSource(rows, source), replace(manifest, facts=facts, members=members)


def _member(source: Source, name: str) -> Member:
    digest, size, rows = hashlib.sha256(), 0, 0
    for piece in source.open(name):
        digest.update(piece)
        size += len(piece)
        rows += piece.count(b"\n")
    return Member(name, size, digest.hexdigest(), rows)


def _restored(archive: Path, folder: Path, *options: str) -> tuple[bool, str]:
    folder.mkdir(parents=True, exist_ok=True)
    manage = Path(settings.BASE_DIR) / "manage.py"
    # Our own program with a path as its argument.
    done = subprocess.run(  # noqa: S603
        [sys.executable, str(manage), "restore", str(archive.resolve()), *options],
        env=scratch_environment(folder.resolve()),
        capture_output=True,
        text=True,
        timeout=_LONGEST_SECONDS,
        check=False,
    )
    return done.returncode == 0, done.stdout + done.stderr
