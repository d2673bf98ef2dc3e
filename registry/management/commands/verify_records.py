"""Hold results, announcements, counts and files against the ledger; exits with 1 if one differs."""

from __future__ import annotations

from argparse import ArgumentParser
from itertools import chain, islice
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.desk import upkeep
from registry.desk.agreement import check_files, check_rows
from registry.desk.announcement_agreement import check_announcements
from registry.desk.distributions import compare_distributions
from registry.ledger.damage import Damage


class Command(BaseCommand):
    """Verify that the registry's rows still say what its ledger says."""

    help = (
        "Compare every result, certificate, announcement, count and stored file with the ledger;"
        " exits with 1"
        " and names what differs. Run verify_ledger first: here the ledger is the witness."
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
        files = () if options["without_files"] else check_files()
        found = list(
            islice(chain(check_rows(), check_announcements(), _counts(), files), options["most"])
        )
        for damage in found:
            self.stdout.write(f"entry {damage.seq} · {damage.field} · {damage.kind}: {damage.text}")
        facts = {"differences": len(found), "files": not options["without_files"]}
        upkeep.remember(name=upkeep.RECORDS, ok=not found, detail=facts)
        if found:
            raise CommandError(
                "The registry does not say what its ledger says: see the lines above. Keep the"
                " database as it is and compare it with a backup."
            )
        self.stdout.write(
            "Every result, certificate, announcement, count and file is what the ledger says."
        )


def _counts() -> list[Damage]:
    """The counts of the distributions against the evaluations."""
    seen = compare_distributions()
    if seen.agrees:
        return []
    difference = seen.cell_difference or seen.counted_difference
    return [Damage(0, "counts", "edited", f"the breed's counts differ: {difference}")]
