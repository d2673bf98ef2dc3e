"""``manage.py doctor``: look at everything and say in plain words what is wrong and how to mend it.

Exits with 1 when something needs a hand now, and with 0 when all is well or there is only advice.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from registry.doctor.examination import all_checks, examine, needing
from registry.doctor.findings import Finding, Level

_HEADINGS = {
    Level.HAND: "Needs a hand now",
    Level.ADVICE: "Advice",
    Level.WELL: "All well",
}


class Command(BaseCommand):
    """Examine the registry."""

    help = (
        "Look at settings, machine, database, records and people; say what is wrong and how to put"
        " it right. Exits with 1 when something needs a hand now."
    )
    # What they say is told here in its place, and must not stop the rest.
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take --json and --only."""
        parser.add_argument("--json", action="store_true", help="one JSON object, for programs")
        parser.add_argument(
            "--only",
            action="append",
            default=[],
            metavar="CHECK",
            help="make this check alone; may be given several times",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the findings, what needs a hand first."""
        names = [check.name for check in all_checks()]
        if unknown := sorted(set(options["only"]) - set(names)):
            raise CommandError(
                f"There is no check {', '.join(unknown)}. The checks are: {', '.join(names)}.",
                returncode=2,
            )
        findings = examine(options["only"])
        if options["json"]:
            self.stdout.write(json.dumps(_report(findings), ensure_ascii=False, indent=2))
        else:
            self._tell(findings)
        if count := len(needing(findings, Level.HAND)):
            raise CommandError(f"{count} {'thing needs' if count == 1 else 'things need'} a hand.")

    def _tell(self, findings: list[Finding]) -> None:
        for level, heading in _HEADINGS.items():
            if chosen := needing(findings, level):
                self.stdout.write(f"{heading} ({len(chosen)})")
            for finding in chosen:
                self.stdout.write(f"  {finding.looked_at} [{finding.check}]: {finding.found}")
                if finding.fix:
                    self.stdout.write(f"    How to put it right: {finding.fix}")


def _report(findings: list[Finding]) -> dict[str, Any]:
    needs = len(needing(findings, Level.HAND))
    return {
        "at": timezone.now().isoformat(),
        "ok": needs == 0,
        "needs_a_hand": needs,
        "advice": len(needing(findings, Level.ADVICE)),
        "findings": [asdict(finding) for finding in findings],
    }
