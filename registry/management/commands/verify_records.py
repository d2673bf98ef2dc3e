"""Hold what the registry keeps against the ledger; exits with 1 where something differs."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.desk import verification


class Command(BaseCommand):
    """Verify that the registry's rows still say what its ledger says."""

    help = (
        "Compare every result, certificate, announcement, count and stored file with the ledger;"
        " exits with 1 and names what differs. Run verify_ledger first: here the ledger is the"
        " witness."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take --most and --without-files."""
        parser.add_argument("--most", type=int, default=100, help="differences to list at the most")
        parser.add_argument(
            "--without-files",
            action="store_true",
            help="leave the stored files unread; there may be many gigabytes of them",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Print one line a difference: entry, field, kind, sentence."""
        seen = verification.verify_records(
            most=options["most"], with_files=not options["without_files"]
        )
        for damage in seen.damages:
            self.stdout.write(verification.line(damage))
        if seen.found:
            raise CommandError(
                "The registry does not say what its ledger says: see the lines above. Keep the"
                " database as it is and compare it with a backup."
            )
        self.stdout.write(
            "Every result, certificate, announcement, dog, role, count and file is what the"
            " ledger says."
        )
