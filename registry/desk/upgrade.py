"""Bring the database's tables to this version of the program, all of it or nothing.

All changes and what verifies them happen in one transaction. When one fails, when a verification
finds a difference, when the process is killed or the power goes, the database itself takes all of
it back: there is no half-way state to be mended, and the deed can be done again.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from django.db.migrations import Migration
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Sum

from registry.archive.schema import Schema, UnknownSchemaError, schema_of_database
from registry.desk.errors import Refused

# Any number, the same for every process, so that two upgrades queue.
_LOCK = 0x536F756E64
_BYTES_A_ROW = 1_000


@dataclass(frozen=True, slots=True)
class Plan:
    """``waiting`` are the changes in their order; ``schema`` is None for a new database. ``rows``
    and ``file_bytes`` are what there is to be backed up."""

    waiting: tuple[str, ...]
    schema: Schema | None
    rows: int
    file_bytes: int


def plan_upgrade() -> Plan:
    """What is to be done; raises Refused when this version cannot do it."""
    try:
        schema = schema_of_database()
    except UnknownSchemaError as error:
        raise Refused(
            "This database was last used by a newer version of the program: it has had the changes"
            f" {error}, which this version does not know. Use that version or a later one."
        ) from error
    executor = MigrationExecutor(connection)
    steps = executor.migration_plan(executor.loader.graph.leaf_nodes())
    waiting = [migration for migration, _backwards in steps]
    if alone := [_name(each) for each in waiting if not each.atomic]:
        raise Refused(
            f"The database could not take these changes back: {', '.join(alone)}. Make a backup and"
            " run manage.py migrate."
        )
    if not schema.migrations:
        return Plan(tuple(map(_name, waiting)), None, 0, 0)
    evidence = schema.model("registry.Evidence")
    return Plan(
        waiting=tuple(map(_name, waiting)),
        schema=schema,
        rows=sum(model._base_manager.count() for model in schema.models),
        file_bytes=evidence.objects.aggregate(total=Sum("size"))["total"] or 0,
    )


def check_room(plan: Plan, folder: Path) -> None:
    """Whether the disks have room for the backup and the changes; raises Refused."""
    folder.mkdir(parents=True, exist_ok=True)
    needed = {folder: plan.file_bytes + plan.rows * _BYTES_A_ROW}
    if connection.vendor == "sqlite":
        database = Path(str(settings.DATABASES["default"]["NAME"]))
        # Every page may be written once more before the old ones are given up.
        needed[database.parent] = 2 * database.stat().st_size if database.exists() else 0
    for place, size in needed.items():
        free = shutil.disk_usage(place).free
        if free < size:
            raise Refused(
                f"There is too little room at {place}: {free:,} bytes are free, and up to {size:,}"
                " are needed. Make room first."
            )


@contextmanager
def in_one_step() -> Iterator[None]:
    """Whatever is done inside is done whole or not at all, changes of tables included.

    The connection is a new one: a statement prepared for the old tables may not fit the new ones.
    """
    connection.close()
    if connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])
            # A table with a check still to be made at the end could not be changed until then.
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            yield
        return
    with _foreign_keys_checked_at_the_end(), transaction.atomic():
        yield
        connection.check_constraints()


@contextmanager
def _foreign_keys_checked_at_the_end() -> Iterator[None]:
    """SQLite rebuilds a table by dropping it, which its checks would not let pass; they cannot be
    switched within a transaction."""
    # Attributes of Django's SQLite connections alone, which its types do not know.
    wrapper: Any = connection
    wrapper.disable_constraint_checking()
    try:
        yield
    finally:
        wrapper.enable_constraint_checking()


def _name(migration: Migration) -> str:
    return f"{migration.app_label}.{migration.name}"
