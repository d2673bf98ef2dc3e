"""Put an archive back into an empty instance: one deed, all of it or nothing.

It appends no entry to the ledger, unlike every other deed: what is put back equals what was, its
ledger included, to the byte.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction

from registry.archive.containers import DamagedArchiveError, Source, lines_of, sync_folder
from registry.archive.inventory import kept_models, member_of
from registry.archive.manifest import Manifest
from registry.archive.rows import Reader
from registry.desk.errors import Refused
from registry.desk.naming import index_name
from registry.models import Dog, LedgerHead

_AT_A_TIME = 500


def why_not_empty() -> str:
    """Which table of this instance already holds rows; empty when none does."""
    for model in kept_models():
        rows = model._base_manager.all()
        if model is LedgerHead:
            rows = rows.exclude(seq=0)
        if rows.exists():
            return str(model._meta.verbose_name_plural)
    return ""


def put_back(*, source: Source, manifest: Manifest) -> None:
    """Write a checked archive's rows and files; raises Refused when anything is here already.

    Raises DamagedArchiveError for a row that the database will not take. Evidence is on the disk
    before the rows are committed; an attempt that fails leaves files that no row names, which a
    second one writes anew.
    """
    with transaction.atomic():
        if table := why_not_empty():
            raise Refused(
                f"This registry already holds {table}. An archive goes into an empty one only:"
                " name another database, or move this one away."
            )
        _put_evidence(source, manifest)
        put_rows_back(source, kept_models())
        _continue_numbers()
        for pk, name in Dog.objects.values_list("pk", "search_name").iterator(chunk_size=5_000):
            index_name(pk, name)


def put_rows_back(source: Source, tables: Iterable[type[models.Model]]) -> None:
    """Write the rows of a checked archive into empty tables, whichever version's they are."""
    with transaction.atomic():
        for model in tables:
            if model._meta.label == LedgerHead._meta.label:
                _put_head(source, model)
            else:
                _put_rows(source, model)


def _put_rows(source: Source, model: type[models.Model]) -> None:
    """Insert every row as it was, keys and automatic instants included."""
    name = member_of(model)
    reader = Reader(model)
    quote = connection.ops.quote_name
    columns = ", ".join(quote(field.column) for field in reader.columns)
    marks = ", ".join(["%s"] * len(reader.columns))
    statement = f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES ({marks})"  # noqa: S608
    try:
        with connection.cursor() as cursor:
            for rows in _together(_stored(reader, line) for line in lines_of(source.open(name))):
                cursor.executemany(statement, rows)
    except (DatabaseError, ValueError) as error:
        raise DamagedArchiveError(name, f"the database will not take it: {error}") from error


def _stored(reader: Reader, line: bytes) -> tuple[Any, ...]:
    """A row's values as this database stores them."""
    values = zip(reader.columns, reader.values(line), strict=True)
    return tuple(field.get_db_prep_save(value, connection) for field, value in values)


def _together(rows: Iterator[tuple[Any, ...]]) -> Iterator[list[tuple[Any, ...]]]:
    batch = []
    for row in rows:
        batch.append(row)
        if len(batch) == _AT_A_TIME:
            yield batch
            batch = []
    if batch:
        yield batch


def _put_head(source: Source, head: type[models.Model]) -> None:
    """The head's row is there since the migration, and may not be deleted: it moves on."""
    reader = Reader(head)
    names = [field.attname for field in reader.columns]
    for line in lines_of(source.open(member_of(head))):
        row = dict(zip(names, reader.values(line), strict=True))
        head._base_manager.filter(pk=row.pop("id")).update(**row)


def _put_evidence(source: Source, manifest: Manifest) -> None:
    folder = Path(settings.EVIDENCE_ROOT)
    folder.mkdir(parents=True, exist_ok=True)
    for member in manifest.members:
        if not member.name.startswith("evidence/"):
            continue
        path = folder / member.name.removeprefix("evidence/")
        part = path.with_name(f"{path.name}.part")
        digest = hashlib.sha256()
        with part.open("wb") as file:
            for piece in source.open(member.name):
                digest.update(piece)
                file.write(piece)
            file.flush()
            os.fsync(file.fileno())
        if digest.hexdigest() != member.sha256:
            part.unlink()
            raise DamagedArchiveError(member.name, "it has changed since it was checked")
        part.rename(path)
    sync_folder(folder)


def _continue_numbers() -> None:
    """Let PostgreSQL number new rows after those that came with their numbers."""
    statements = connection.ops.sequence_reset_sql(no_style(), kept_models())
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
