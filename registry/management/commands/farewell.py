"""Freeze the public site into plain files, so that printed codes answer without this program."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.archive.farewell import FarewellProblemError, write_farewell


class Command(BaseCommand):
    """Say farewell."""

    help = (
        "Write the public site into a new folder of plain files. Put them at the root of the same"
        " host on any file hosting that answers a folder with its index.html; no script and no"
        " server of ours is needed. Each page says since when it is frozen."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the folder."""
        parser.add_argument("folder", type=Path, metavar="FOLDER", help="a new folder")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write it and say what answers."""
        folder: Path = options["folder"].absolute()
        if folder.exists():
            raise CommandError(f"{folder} is there already. Name a new folder.")
        try:
            done = write_farewell(folder)
        except (FarewellProblemError, OSError) as problem:
            raise CommandError(f"Nothing was written: {problem}") from problem
        self.stdout.write(
            f"{folder}: {len(done.pages):,} pages ({done.certificates:,} certificates) and"
            f" {len(done.files):,} files."
        )
        self.stdout.write(
            "Put them at the root of the same host. A certificate's page lies in"
            " C/<NUMBER>/index.html, which plain file hosting answers at /C/<NUMBER>."
        )
