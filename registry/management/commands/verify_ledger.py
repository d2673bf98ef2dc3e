"""Walk the ledger and say whether it is whole; exits with 1 and names the damage when it is not."""

from __future__ import annotations

import os
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.ledger.verify import verify


class Command(BaseCommand):
    """Verify the audit trail."""

    help = "Verify the whole audit trail; exits with 1 and names the damage when it is not whole."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take --most."""
        parser.add_argument("--most", type=int, default=100, help="damages to list at the most")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print one line a damage: entry, field, kind, sentence."""
        verdict = verify(most=options["most"], progress=self._show, processes=os.cpu_count() or 1)
        if options["verbosity"] and self.stdout.isatty():
            self.stdout.write("")
        for damage in verdict.damages:
            self.stdout.write(f"entry {damage.seq} · {damage.field} · {damage.kind}: {damage.text}")
        if not verdict.is_whole:
            raise CommandError(
                f"The ledger is damaged: {verdict.found} damages, the first of them listed above."
                " Keep the database as it is and compare it with a backup."
            )
        self.stdout.write(
            f"The ledger is whole: {verdict.entries:,} entries, last hash {verdict.head}."
        )

    def _show(self, count: int) -> None:
        if self.stdout.isatty():
            self.stdout.write(f"\r{count:,} entries", ending="")
            self.stdout.flush()
