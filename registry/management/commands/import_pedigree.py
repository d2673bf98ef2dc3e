"""Import a pedigree from a CSV file; without --commit only say what would become of it."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.desk.actor import Actor
from registry.desk.errors import Invalid
from registry.desk.pedigree_import import check, commit

_MOST_SHOWN = 50


class Command(BaseCommand):
    """Dry run or import."""

    help = "Look a pedigree's CSV file through; with --commit import its rows without a fault."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the file and --commit."""
        parser.add_argument("file", type=Path)
        parser.add_argument("--commit", action="store_true", help="import the rows")

    def handle(self, *args: Any, **options: Any) -> None:
        """Say what became of the rows; exit with 1 when some were left out."""
        try:
            content = options["file"].read_bytes()
        except OSError as error:
            raise CommandError(f"The file cannot be opened: {error.strerror}.") from error
        by = Actor.system(via="import")
        try:
            report = (commit if options["commit"] else check)(by=by, content=content)
        except Invalid as error:
            raise CommandError(str(error)) from error
        for note in report.notes:
            self.stdout.write(note)
        for fault in report.faults[:_MOST_SHOWN]:
            self.stdout.write(f"Row {fault.row}, {fault.column or 'the row'}: {fault.message}")
        if len(report.faults) > _MOST_SHOWN:
            self.stdout.write(f"... and {len(report.faults) - _MOST_SHOWN} faults more.")
        done = "registered" if options["commit"] else "to be registered"
        self.stdout.write(
            f"{report.rows} rows: {len(report.new)} {done}, {len(report.filled)} fill in what the"
            f" register does not say, {len(report.same)} are there already, {len(report.bad)} have"
            " a fault."
        )
        if report.bad:
            raise CommandError("Rows with a fault are left out. Correct them and run it again.")
