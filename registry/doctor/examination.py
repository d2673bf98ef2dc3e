"""All checks in their order, made one after another; slow ones made apart and remembered.

To add a check: write a function that returns a verdict, list it in its module, and plant its fault
in the tests.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import timedelta

from django.utils import timezone
from django.utils.timesince import timesince
from django.utils.translation import gettext as _

from registry.desk import upkeep
from registry.doctor.background import BACKGROUND
from registry.doctor.backups import BACKUPS
from registry.doctor.configured import configured_checks
from registry.doctor.database import DATABASE
from registry.doctor.findings import Check, Finding, Level, Verdict, advice
from registry.doctor.machine import MACHINE
from registry.doctor.paper import PAPER
from registry.doctor.people import PEOPLE
from registry.doctor.records import RECORDS
from registry.doctor.tls import TLS
from registry.models import Upkeep

_REMEMBERED_FOR = timedelta(days=2)


def all_checks() -> Sequence[Check]:
    """Every check, the ones that others rest on first."""
    return (
        *DATABASE,
        *configured_checks(),
        *MACHINE,
        *RECORDS,
        *BACKUPS,
        *BACKGROUND,
        *PEOPLE,
        *PAPER,
        *TLS,
    )


def examine(only: Collection[str] = ()) -> list[Finding]:
    """Make every check now, or those named; how slow ones end is remembered for the pages."""
    return [_made_and_noted(check) for check in all_checks() if not only or check.name in only]


def examine_quickly() -> list[Finding]:
    """Make every quick check now, and say of the slow ones how they last ended."""
    return [_remembered(check) if check.is_slow else check.made() for check in all_checks()]


def examine_slowly() -> list[Finding]:
    """Make the slow checks and remember them."""
    return [_made_and_noted(check) for check in all_checks() if check.is_slow]


def needing(findings: Sequence[Finding], level: Level) -> list[Finding]:
    """The findings of one level, in their order."""
    return [finding for finding in findings if finding.level == level]


def _made_and_noted(check: Check) -> Finding:
    finding = check.made()
    if check.is_slow:
        detail = {"level": finding.level.value, "found": finding.found, "fix": finding.fix}
        is_ok = finding.level != Level.HAND
        upkeep.remember(name=f"doctor-{check.name}", ok=is_ok, detail=detail)
    return finding


def _remembered(check: Check) -> Finding:
    row = Upkeep.objects.filter(name=f"doctor-{check.name}").first()
    fix = _("Start manage.py work, which looks four times a day, or run manage.py doctor.")
    if row is None:
        return check.finding(advice(_("It has not been looked at yet."), fix))
    age = _("Looked at %(age)s ago.") % {"age": timesince(row.at, depth=1)}
    found = f"{row.detail['found']} {age}"
    if row.detail["level"] == Level.WELL and row.at < timezone.now() - _REMEMBERED_FOR:
        return check.finding(advice(found, fix))
    return check.finding(Verdict(Level(row.detail["level"]), found, row.detail["fix"]))
