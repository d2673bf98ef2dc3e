"""Write an archive: every table, every evidence file, the manifest; as of one moment."""

from __future__ import annotations

import hashlib
import os
import time
import zipfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from django.conf import settings
from django.db.models import F
from django.utils import timezone

from registry.archive.containers import (
    MANIFEST,
    MANIFEST_HASH,
    NoSink,
    Recorder,
    Sink,
    ZipSink,
    sync_folder,
)
from registry.archive.inventory import member_of
from registry.archive.manifest import Manifest, content_hash, facts_now
from registry.archive.rows import lines
from registry.archive.schema import Schema, UnknownSchemaError, schema_of_database
from registry.archive.sealing import ENDING, Sealer, SealKeyError, read_key
from registry.archive.snapshot import snapshot
from registry.models import Evidence

_READ_BYTES = 1 << 20
_MOST_TRIES = 20
_PART_LIVES_SECONDS = 24 * 60 * 60
PREFIX = "soundline-"

More = Callable[[Recorder], None]


class BackupProblemError(Exception):
    """No archive could be made; says why in one sentence."""


class Made(NamedTuple):
    """A finished archive and what its manifest says."""

    path: Path
    manifest: Manifest


class _VanishedError(Exception):
    """An evidence file was taken away between the snapshot and its copying."""


def back_up(folder: Path) -> Made:
    """Write an archive of this moment into the folder; it appears there whole or not at all.

    It is encrypted when there is a key to do it with.
    """
    try:
        key = read_key(settings.BACKUP_KEY) if settings.BACKUP_KEY else None
    except SealKeyError as error:
        raise BackupProblemError(str(error)) from error
    folder.mkdir(parents=True, exist_ok=True)
    _sweep_parts(folder)
    now = timezone.now()
    name = f"{PREFIX}{now:%Y%m%dT%H%M%S}"
    part = folder / f".{name}-{os.getpid()}.part"
    try:
        manifest = _until_nothing_vanishes(lambda lost: _write_file(part, now, lost, key))
        path = _free(folder, name, f".zip{ENDING}" if key else ".zip")
        part.rename(path)
    finally:
        part.unlink(missing_ok=True)
    sync_folder(folder)
    return Made(path, manifest)


def backups_in(folder: Path) -> list[Path]:
    """The backups that lie in a folder, oldest first."""
    found = [*folder.glob(f"{PREFIX}*.zip"), *folder.glob(f"{PREFIX}*.zip{ENDING}")]
    return sorted(found, key=lambda path: path.stat().st_mtime)


def write_into(empty: Callable[[], Sink], more: More | None = None) -> Manifest:
    """Write the members of an archive, and ``more`` of the same moment, into what ``empty``
    gives; it is called again for a new beginning."""
    return _until_nothing_vanishes(lambda lost: write_members(empty(), timezone.now(), lost, more))


def content_now() -> str:
    """The hash of what an archive of this moment would hold."""
    return write_into(NoSink).content


def canonical_part(manifest: Manifest) -> str:
    """The hash of tables and evidence alone: an export's is that of a backup."""
    kept = ("rows/", "evidence/")
    return content_hash(tuple(each for each in manifest.members if each.name.startswith(kept)))


def write_members(
    sink: Sink, made_at: datetime, lost: set[str], more: More | None = None
) -> Manifest:
    """Write everything once; ``lost`` are evidence files known to be gone for good."""
    out = Recorder(sink)
    schema = _schema()
    with snapshot():
        # First of all: a file that belongs to no result yet may be taken away at any moment.
        changed = _write_evidence(out, schema, lost)
        write_rows(out, schema)
        if more is not None:
            more(out)
        facts = facts_now(made_at, schema, missing=sorted(lost), changed=changed)
    manifest = Manifest(facts, tuple(out.members))
    end = Recorder(sink)
    end.text(MANIFEST, manifest.text)
    end.text(MANIFEST_HASH, hashlib.sha256(manifest.text.encode()).hexdigest() + "\n")
    return manifest


def write_rows(out: Recorder, schema: Schema) -> None:
    """Write a member a table."""
    for model in schema.models:
        with out.member(member_of(model)) as member:
            member.rows = 0
            for line in lines(model):
                member.write(line)
                member.rows += 1


def _schema() -> Schema:
    """The tables as they are, which before an upgrade are those of a former version."""
    try:
        return schema_of_database()
    except UnknownSchemaError as error:
        raise BackupProblemError(
            f"This database was last used by a newer version of the program: it has had the changes"
            f" {error}, which this version does not know. Use that version."
        ) from error


def _write_evidence(out: Recorder, schema: Schema, lost: set[str]) -> list[str]:
    """Copy every file; returns the names of those that are not what was taken in."""
    changed = []
    root = Path(settings.EVIDENCE_ROOT)
    loose_first = (F("evaluation_id").asc(nulls_first=True), "stored_name")
    evidence = schema.model("registry.Evidence")
    stored = evidence.objects.order_by(*loose_first).values_list("stored_name", "sha256")
    for name, sha256 in stored.iterator(chunk_size=500):
        if name in lost:
            continue
        try:
            file = (root / name).open("rb")
        except FileNotFoundError as error:
            raise _VanishedError(name) from error
        with file, out.member(f"evidence/{name}") as member:
            while piece := file.read(_READ_BYTES):
                member.write(piece)
        if member.digest.hexdigest() != sha256:
            changed.append(name)
    return changed


def _write_file(part: Path, now: datetime, lost: set[str], key: bytes | None) -> Manifest:
    part.unlink(missing_ok=True)
    part.touch(mode=0o600)
    with part.open("r+b") as file:
        if key is None:
            manifest = _write_zip(file, now, lost)
        else:
            sealer = Sealer(file, key)
            manifest = _write_zip(sealer, now, lost)
            sealer.finish()
        file.flush()
        os.fsync(file.fileno())
    return manifest


def _write_zip(file: Any, now: datetime, lost: set[str]) -> Manifest:
    with zipfile.ZipFile(file, "w", compresslevel=6) as archive:
        return write_members(ZipSink(archive), now, lost)


def _until_nothing_vanishes(write: Callable[[set[str]], Manifest]) -> Manifest:
    """Write; begin anew from a later moment when a file was taken away meanwhile.

    A file that has a row still is gone for good: it is listed as missing, and the rest is kept.
    """
    lost: set[str] = set()
    tries = 0
    while True:
        try:
            return write(lost)
        except _VanishedError as vanished:
            name = str(vanished)
            if Evidence.objects.filter(stored_name=name).exists():
                lost.add(name)
                continue
            tries += 1
            if tries >= _MOST_TRIES:
                raise BackupProblemError(
                    "Evidence files were taken away while they were copied, again and again."
                    " Try at a quieter hour."
                ) from vanished


def _sweep_parts(folder: Path) -> None:
    """Remove what a process that was killed left of a backup; none takes a day."""
    for part in folder.glob(f".{PREFIX}*.part"):
        if part.stat().st_mtime < time.time() - _PART_LIVES_SECONDS:
            part.unlink(missing_ok=True)


def _free(folder: Path, name: str, ending: str) -> Path:
    """A path nothing lies at: two backups of one second both stay."""
    path, number = folder / f"{name}{ending}", 2
    while path.exists():
        path, number = folder / f"{name}-{number}{ending}", number + 1
    return path
