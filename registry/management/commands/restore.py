"""Put an archive back into an empty instance, after looking through all of it."""

from __future__ import annotations

from argparse import SUPPRESS, ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from registry.archive.checking import (
    NotForHereError,
    check,
    check_keys,
    check_rows,
    opened,
    schema_of,
)
from registry.archive.containers import DamagedArchiveError, Source
from registry.archive.manifest import Manifest
from registry.archive.practice import CannotRenewError, put_back_for_practice, renewed
from registry.archive.schema import schema_of_database, todays_schema
from registry.archive.writing import canonical_part, content_now
from registry.desk.archive import put_back, why_not_empty
from registry.desk.errors import Refused
from registry.desk.renewal import renew
from registry.ledger import triggers


class Command(BaseCommand):
    """Restore."""

    help = (
        "Put a backup back into an empty database and an empty evidence folder, then verify it."
        " Every byte is checked before anything is written. A backup of an older version is brought"
        " up to date on the way, in a scratch database. --check only looks; --practice puts it into"
        " a scratch SQLite file in FOLDER and leaves this registry alone."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the archive, --check and --practice."""
        parser.add_argument("archive", type=Path, metavar="ARCHIVE")
        parser.add_argument("--check", action="store_true", help="only look whether it is whole")
        parser.add_argument(
            "--practice", type=Path, metavar="FOLDER", help="try it in a scratch place"
        )
        # The scratch process of a restore is asked by it.
        parser.add_argument("--renew", type=Path, help=SUPPRESS)

    def handle(self, *args: Any, **options: Any) -> None:
        """Look, say what will be written, write, verify."""
        archive: Path = options["archive"]
        if options["practice"]:
            self._practise(archive, options["practice"])
            return
        try:
            self._restore(archive, only_check=options["check"], renewal=options["renew"])
        except FileNotFoundError as error:
            raise CommandError(f"{archive} is not there.") from error
        except DamagedArchiveError as damage:
            raise CommandError(
                f"The archive is damaged. {damage}. Nothing was written; take another copy."
            ) from damage
        except (NotForHereError, Refused) as problem:
            raise CommandError(f"{problem} Nothing was written.") from problem
        except CannotRenewError as problem:
            raise CommandError(
                f"The archive could not be brought up to date. Nothing was written.\n{problem}"
            ) from problem

    def _restore(self, archive: Path, *, only_check: bool, renewal: Path | None) -> None:
        source = opened(archive)
        manifest = check(source)
        schema = schema_of(manifest)
        if renewal is not None:
            renew(source=source, schema=schema, folder=renewal)
            return
        check_keys(manifest)
        check_rows(source, manifest, schema)
        self._tell(archive, manifest)
        if only_check:
            self.stdout.write("The archive is whole. Nothing was written.")
            return
        self._make_room()
        if schema.is_todays:
            self._write(source, manifest)
            return
        self.stdout.write(
            f"Its tables are as of {schema.migrations['registry']}: bringing them up to"
            f" {todays_schema().migrations['registry']} in a scratch database first."
        )
        with renewed(archive, source, manifest) as (newer_source, newer_manifest):
            self._write(newer_source, newer_manifest, "brought up to date")

    def _make_room(self) -> None:
        """Empty tables of this version; raises Refused when there is anything in them."""
        if not connection.introspection.table_names():
            self.stdout.write("The database is new: making its tables.")
            call_command("migrate", verbosity=0)
        if not schema_of_database().is_todays:
            raise Refused("This database has other tables than this version: name a new one.")
        if table := why_not_empty():
            raise Refused(
                f"This registry already holds {table}. An archive goes into an empty one only:"
                " name another database, or move this one away."
            )

    def _tell(self, archive: Path, manifest: Manifest) -> None:
        facts, database = manifest.facts, connection.settings_dict
        self.stdout.write(
            f"{archive.name}, made on {facts['made_at']} by program version"
            f" {facts['program_version']}: {manifest.rows:,} rows,"
            f" {facts['ledger']['entries']:,} ledger entries, {manifest.files:,} evidence files,"
            f" {manifest.bytes:,} bytes in all."
        )
        self.stdout.write(
            f"Rows go into {connection.vendor} {database['NAME']}, files into"
            f" {settings.EVIDENCE_ROOT}."
        )
        for name in facts["missing_files"]:
            self.stderr.write(f"Evidence file {name} was missing when the backup was made.")

    def _write(
        self, source: Source, manifest: Manifest, equal: str = "equal to the original"
    ) -> None:
        put_back(source=source, manifest=manifest)
        if missing := triggers.missing(connection):
            raise CommandError(f"The ledger's triggers are missing: {', '.join(missing)}.")
        wanted, found = canonical_part(manifest), content_now()
        if found != wanted:
            raise CommandError(
                f"What was put back is not what the archive holds ({found} instead of {wanted})."
                " Don't use this database."
            )
        call_command("verify_ledger", verbosity=0, stdout=self.stdout)
        call_command("verify_records", verbosity=0, stdout=self.stdout)
        self.stdout.write(f"All is back, {equal}: content {wanted}")

    def _practise(self, archive: Path, folder: Path) -> None:
        ok, said = put_back_for_practice(archive, folder)
        self.stdout.write(said)
        if not ok:
            raise CommandError("The archive could not be put back; see above.")
        self.stdout.write(f"Practised in {folder}; this registry was left alone.")
