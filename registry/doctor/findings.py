"""What a check is and what it finds: plain values, and the frame that makes a finding of a check.

The checks themselves stand in the other modules of this room, one subject each.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from django.db import DatabaseError
from django.utils.functional import Promise
from django.utils.translation import gettext as _


class Level(StrEnum):
    """Whether somebody has to act. Advice can wait, and does not make the doctor fail."""

    HAND = "needs a hand"
    ADVICE = "advice"
    WELL = "well"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was found, and how to put it right; ``fix`` is empty where all is well."""

    level: Level
    found: str
    fix: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """A verdict with the check's name and what was looked at, ready to be shown."""

    check: str
    looked_at: str
    level: Level
    found: str
    fix: str


@dataclass(frozen=True, slots=True)
class Check:
    """One look at one thing. A slow one is made by the worker and the command, never in a request:
    pages show how it last ended."""

    name: str
    looked_at: str | Promise
    look: Callable[[], Verdict]
    is_slow: bool = False

    def made(self) -> Finding:
        """Look now; what cannot be looked at needs a hand too."""
        try:
            verdict = self.look()
        except (DatabaseError, OSError, ValueError, LookupError) as error:
            verdict = hand(
                _("It could not be looked at: %(kind)s.") % {"kind": type(error).__name__},
                _("See the lines above this one first; then run manage.py doctor again."),
            )
        return self.finding(verdict)

    def finding(self, verdict: Verdict) -> Finding:
        """The verdict under this check's name."""
        return Finding(self.name, str(self.looked_at), verdict.level, verdict.found, verdict.fix)


def well(found: str) -> Verdict:
    """All is well."""
    return Verdict(Level.WELL, found)


def advice(found: str, fix: str) -> Verdict:
    """Worth doing, and nothing is lost if it waits."""
    return Verdict(Level.ADVICE, found, fix)


def hand(found: str, fix: str) -> Verdict:
    """Somebody has to do something now."""
    return Verdict(Level.HAND, found, fix)
