"""Take the rows of an older archive through the migrations that it has not seen, in a database made
for that alone."""

from __future__ import annotations

from pathlib import Path

from django.core.management import call_command
from django.db import connection

from registry.archive.containers import FolderSink, Recorder, Source
from registry.archive.schema import Schema, todays_schema
from registry.archive.writing import write_rows
from registry.desk.archive import put_rows_back
from registry.desk.errors import Refused


def renew(*, source: Source, schema: Schema, folder: Path) -> None:
    """Make the archive's own tables, put its rows back, migrate them, and write them as today's
    tables into the folder; raises Refused unless the database is new."""
    if connection.introspection.table_names():
        raise Refused("An older archive is brought up to date in a new database only.")
    for app, name in schema.migrations.items():
        call_command("migrate", app, name, verbosity=0)
    put_rows_back(source, schema.models)
    call_command("migrate", verbosity=0)
    write_rows(Recorder(FolderSink(folder)), todays_schema())
