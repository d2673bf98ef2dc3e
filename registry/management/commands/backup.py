"""Write the whole registry into one archive, of one moment, while the site goes on."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from registry.archive.writing import BackupProblemError, Made
from registry.desk.backups import copy_backup, make_backup, try_backup


class Command(BaseCommand):
    """Back up."""

    help = (
        "Write every row, every evidence file and a manifest into one zip file in FOLDER. It holds"
        " personal data and hashes of passwords, no password and no key: keep it, and the keys"
        " apart from it. With SOUNDLINE_BACKUP_KEY it is encrypted. With --self-test it is put back"
        " in a scratch place at once and compared; with --copy it is copied to"
        " SOUNDLINE_BACKUP_COPY_FOLDER too."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder and --self-test."""
        parser.add_argument(
            "folder",
            type=Path,
            nargs="?",
            metavar="FOLDER",
            help="where to; without it, SOUNDLINE_BACKUP_FOLDER",
        )
        parser.add_argument("--self-test", action="store_true", help="try to put it back, too")
        parser.add_argument("--copy", action="store_true", help="copy it away, too")

    def handle(self, *args: Any, **options: Any) -> None:
        """Make it, say what is in it, and try it if asked."""
        folder = options["folder"] or settings.BACKUP_FOLDER
        if folder is None:
            raise CommandError("Name a folder, or set SOUNDLINE_BACKUP_FOLDER.")
        away: Path | None = settings.BACKUP_COPY_FOLDER if options["copy"] else None
        if options["copy"] and away is None:
            raise CommandError("Set SOUNDLINE_BACKUP_COPY_FOLDER.")
        try:
            made = make_backup(folder)
            self._say(made)
            if away is not None:
                self.stdout.write(f"Copied and read again: {copy_backup(made.path, away)}")
        except BackupProblemError as problem:
            raise CommandError(str(problem)) from problem
        if options["self_test"]:
            ok, said = try_backup(made.path)
            if not ok:
                raise CommandError(f"{made.path.name} could not be put back:\n{said}")
            self.stdout.write("It was put back in a scratch place and equals the original.")

    def _say(self, made: Made) -> None:
        manifest = made.manifest
        self.stdout.write(f"{made.path}")
        self.stdout.write(
            f"{manifest.rows:,} rows, {manifest.files:,} evidence files,"
            f" {made.path.stat().st_size:,} bytes; content {manifest.content}"
        )
        for what, word in (("missing_files", "is missing"), ("changed_files", "has changed")):
            for name in manifest.facts[what]:
                self.stderr.write(f"Evidence file {name} {word}: manage.py verify_records")
        self.stdout.write(
            "Keep it on another machine, and the keys (SOUNDLINE_SECRET_KEY, SOUNDLINE_LOG_KEY,"
            " SOUNDLINE_ISSUER_KEY, and SOUNDLINE_BACKUP_KEY if it is encrypted) in a place of"
            " their own: they are not in it."
        )
