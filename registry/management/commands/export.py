"""Take everything along: tables for people, evidence, ledger, proofs, schema, README."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.archive.leaving import export
from registry.archive.writing import BackupProblemError


class Command(BaseCommand):
    """Export."""

    help = (
        "Write the whole registry into a new folder, readable without this program: CSV and JSON,"
        " evidence, the audit trail with checkpoints and proofs, a schema, a README. manage.py"
        " import_export puts it back into an empty instance."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder."""
        parser.add_argument("folder", type=Path, metavar="FOLDER", help="a new folder")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write it and say what is in it."""
        folder: Path = options["folder"].absolute()
        if folder.exists():
            raise CommandError(f"{folder} is there already. Name a new folder.")
        try:
            manifest = export(folder)
        except (BackupProblemError, OSError) as problem:
            raise CommandError(f"Nothing was exported: {problem}") from problem
        for what, word in (("missing_files", "is missing"), ("changed_files", "has changed")):
            for name in manifest.facts[what]:
                self.stderr.write(f"Evidence file {name} {word}: manage.py verify_records")
        self.stdout.write(
            f"{folder}: {manifest.rows:,} rows, {manifest.files:,} evidence files,"
            f" {manifest.bytes:,} bytes; content {manifest.content}"
        )
        self.stdout.write("It holds personal data. README.txt says what is where.")
