"""What changed on a public page, in words: the shape of a change, and the facts of a dog that were
put right."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext as _

from registry.queries.history import PublicEntry


@dataclass(frozen=True, slots=True)
class Event:
    """A change, as ``parts/timeline.html`` takes it."""

    title: str
    at: datetime | date
    who: str = ""
    reason: str = ""
    changes: tuple[object, ...] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """One public field of the dog, before and after."""

    field: str
    before: str
    after: str


def changed_facts(entry: PublicEntry) -> tuple[Change, ...]:
    """The facts that an entry about a dog put right; values that are not public stay untold."""
    names = {
        "name": _("Name"),
        "call_name": _("Called"),
        "sex": _("Sex"),
        "born_on": _("Born"),
        "died_on": _("Died"),
        "colour": _("Colour"),
        "studbook_number": _("Studbook number"),
        "chip": _("Chip"),
        "sire": _("Sire"),
        "dam": _("Dam"),
        "breed": _("Breed"),
    }
    return (
        *(Change(names[name], *ends) for name, ends in entry.changes.items()),
        *(Change(names[name], _("the old entry"), _("a new one")) for name in entry.hidden),
    )
