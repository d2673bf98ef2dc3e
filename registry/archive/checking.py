"""Look through a whole archive before anything of it is believed: every member there, none besides,
every byte as it was written, every row one of its tables at the archive's own migrations."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path

from django.conf import settings

from registry import __version__
from registry.archive.containers import (
    MANIFEST,
    MANIFEST_HASH,
    DamagedArchiveError,
    FolderSource,
    Member,
    Source,
    ZipSource,
    is_tidy,
    lines_of,
)
from registry.archive.inventory import member_of
from registry.archive.manifest import Manifest, read_manifest
from registry.archive.rows import Reader, RowProblem
from registry.archive.schema import Schema, UnknownSchemaError, schema_of_archive
from registry.archive.sealing import PART_BYTES, Opener, SealKeyError, is_sealed, read_key
from registry.ledger.checkpoints import Checkpoint, NoteProblem, open_note
from registry.ledger.keys import verifier_keys

_MOST_MANIFEST_BYTES = 1 << 30

Say = Callable[[str], None]


class NotForHereError(Exception):
    """A sound archive that this instance cannot take; says what to do."""


def opened(path: Path) -> Source:
    """The archive at a path: a folder, a zip file, or one that is encrypted, which is read to its
    end first.

    Raises DamagedArchiveError, and NotForHereError when the key is not the one it needs.
    """
    if path.is_dir():
        return FolderSource(path)
    if not is_sealed(path):
        return ZipSource(path)
    if not settings.BACKUP_KEY:
        raise NotForHereError(
            f"{path.name} is encrypted. Set SOUNDLINE_BACKUP_KEY to the key it was made with."
        )
    try:
        file = Opener(path, read_key(settings.BACKUP_KEY))
        file.check()
    except SealKeyError as error:
        raise NotForHereError(str(error)) from error
    return ZipSource(path, io.BufferedReader(file, PART_BYTES))


def check(source: Source) -> Manifest:
    """Read everything and compare it with the manifest; raises DamagedArchiveError."""
    names = source.names()
    _check_names(names)
    data = _whole(source, MANIFEST)
    stated = _whole(source, MANIFEST_HASH).decode(errors="replace").strip()
    if hashlib.sha256(data).hexdigest() != stated:
        raise DamagedArchiveError(MANIFEST, "it is not what was written")
    manifest = read_manifest(data)
    _check_list(names, manifest)
    for member in manifest.members:
        _check_bytes(source, member)
    return manifest


def schema_of(manifest: Manifest) -> Schema:
    """The tables of an archive, today's or former ones; raises NotForHereError for those of a newer
    program."""
    try:
        return schema_of_archive(manifest.facts, [member.name for member in manifest.members])
    except UnknownSchemaError as error:
        there = manifest.facts["program_version"]
        raise NotForHereError(
            f"The archive was made by program version {there}, which is newer than this one"
            f" ({__version__}): its tables have had the changes {error}, which this version does"
            f" not know. Install program version {there} or later."
        ) from error


def check_rows(source: Source, manifest: Manifest, schema: Schema) -> None:
    """Read every row as its table takes it; raises DamagedArchiveError."""
    files = {member.name: member for member in manifest.members}
    wanted = {member_of(model) for model in schema.models}
    for name in sorted(files):
        if name.startswith("rows/") and name not in wanted:
            raise DamagedArchiveError(name, "there was no such table")
    for name in sorted(wanted - files.keys()):
        raise DamagedArchiveError(name, "it is missing")
    for model in schema.models:
        name = member_of(model)
        reader, count = Reader(model), 0
        for line in lines_of(source.open(name)):
            count += 1
            try:
                reader.values(line)
            except RowProblem as problem:
                raise DamagedArchiveError(name, f"line {count}: {problem}") from problem
        if count != files[name].rows:
            raise DamagedArchiveError(name, f"{count} rows instead of {files[name].rows}")
    _check_evidence(source, files, set(manifest.facts["missing_files"]))
    _check_head(source, manifest)


def check_keys(manifest: Manifest) -> None:
    """Whether this instance has the key that signed the archive's log; raises NotForHereError."""
    note = manifest.facts["ledger"]["checkpoint"]
    if not note:
        return
    try:
        Checkpoint.parse(open_note(note, verifier_keys()))
    except NoteProblem as problem:
        key = manifest.facts["keys"]["SOUNDLINE_LOG_KEY"]["verifier_key"]
        raise NotForHereError(
            "The archive's log was signed with another key than this instance has. Give this"
            " instance the same SOUNDLINE_LOG_KEY and SOUNDLINE_LOG_ORIGIN, or add the old key to"
            f" SOUNDLINE_LOG_FORMER_KEYS: {key}"
        ) from problem


def _check_names(names: list[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if not is_tidy(name):
            raise DamagedArchiveError(name, "no file of an archive has such a name")
        if name in seen:
            raise DamagedArchiveError(name, "it is there twice")
        seen.add(name)
    for name in (MANIFEST, MANIFEST_HASH):
        if name not in seen:
            raise DamagedArchiveError(name, "it is missing")


def _check_list(names: list[str], manifest: Manifest) -> None:
    """The members are those that the manifest lists, each once."""
    listed: set[str] = set()
    for member in manifest.members:
        if member.name in listed or not is_tidy(member.name):
            raise DamagedArchiveError(member.name, "the manifest lists it wrongly")
        listed.add(member.name)
    for name in sorted(listed - set(names)):
        raise DamagedArchiveError(name, "it is missing")
    for name in sorted(set(names) - listed - {MANIFEST, MANIFEST_HASH}):
        raise DamagedArchiveError(name, "it does not belong to the archive")


def _check_bytes(source: Source, member: Member) -> None:
    digest, size = hashlib.sha256(), 0
    for piece in source.open(member.name):
        size += len(piece)
        if size > member.bytes:
            raise DamagedArchiveError(member.name, "it is longer than it was written")
        digest.update(piece)
    if size < member.bytes:
        raise DamagedArchiveError(member.name, "it is shorter than it was written")
    if digest.hexdigest() != member.sha256:
        raise DamagedArchiveError(member.name, "it is not what was written")


def _check_evidence(source: Source, files: dict[str, Member], missing: set[str]) -> None:
    """Every evidence row has its file, and no file is without a row."""
    known = {str(row["stored_name"]) for row in _rows(source, "rows/evidence.jsonl")}
    there = {name.removeprefix("evidence/") for name in files if name.startswith("evidence/")}
    for name in sorted(known - there - missing):
        raise DamagedArchiveError(f"evidence/{name}", "it is missing")
    for name in sorted(name for name in there if name not in known or "/" in name):
        raise DamagedArchiveError(f"evidence/{name}", "no row of the archive knows it")


def _check_head(source: Source, manifest: Manifest) -> None:
    """The ledger's head is the one that the manifest names."""
    heads = list(_rows(source, "rows/ledgerhead.jsonl"))
    ledger = manifest.facts["ledger"]
    if [(row["seq"], row["hash"]) for row in heads] != [(ledger["entries"], ledger["hash"])]:
        raise DamagedArchiveError(
            "rows/ledgerhead.jsonl", "the ledger does not end as the manifest says"
        )


def _rows(source: Source, name: str) -> Iterator[dict[str, object]]:
    return (json.loads(line) for line in lines_of(source.open(name)))


def _whole(source: Source, name: str) -> bytes:
    data = bytearray()
    for piece in source.open(name):
        data += piece
        if len(data) > _MOST_MANIFEST_BYTES:
            raise DamagedArchiveError(name, "it is too long")
    return bytes(data)
