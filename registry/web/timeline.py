"""The audit trail for ``parts/timeline.html``: each ledger action as a short title in plain
words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.models import Role, Sex
from registry.queries.timeline import FieldChange, TimelineEntry

TITLES = {
    "evaluation.submitted": gettext_lazy("Sent to the club"),
    "evaluation.resubmitted": gettext_lazy("Corrected and sent again"),
    "evaluation.withdrawn": gettext_lazy("Withdrawn by the clinic"),
    "evaluation.accepted": gettext_lazy("Approved"),
    "evaluation.returned": gettext_lazy("Returned for correction"),
    "evaluation.declined": gettext_lazy("Declined"),
    "evaluation.revoked": gettext_lazy("Revoked"),
    "evaluation.replaced": gettext_lazy("Replaced by a corrected result"),
    "evaluation.second-look": gettext_lazy("A second registrar is asked"),
    "evaluation.consent": gettext_lazy("Consent to publish changed"),
    "announcement.made": gettext_lazy("Examination announced"),
    "announcement.answered": gettext_lazy("Result sent for the announcement"),
    "announcement.reopened": gettext_lazy("Announcement open again: the result is another dog's"),
    "announcement.withdrawn": gettext_lazy("Announcement withdrawn"),
    "dog.registered": gettext_lazy("Dog registered"),
    "dog.corrected": gettext_lazy("Dog's facts corrected"),
    "dog.confirmed": gettext_lazy("Dog confirmed"),
    "dog.merged": gettext_lazy("Another entry of this dog merged into it"),
}


# Ids and counts that a person gains nothing from reading; they are in the ledger all the same.
_UNSHOWN = frozenset(
    {
        *("evaluation", "standing", "dog", "owner", "flags", "overridden", "replaced_by"),
        *("fields_to_fix",),
        *("moved.evaluations", "moved.offspring"),
    }
)
_FIELDS = {
    "breed": gettext_lazy("breed"),
    "call_name": gettext_lazy("call name"),
    "certificate": gettext_lazy("certificate"),
    "chip": gettext_lazy("chip"),
    "colour": gettext_lazy("colour"),
    "conditions.chip_as_read": gettext_lazy("chip as read"),
    "conditions.chip_read": gettext_lazy("chip read that day"),
    "conditions.restraint": gettext_lazy("kept still by"),
    "conditions.weight_kg": gettext_lazy("weight in kg"),
    "consent_to_publish": gettext_lazy("owner agrees to publish"),
    "dam": gettext_lazy("dam"),
    "born_on": gettext_lazy("born on"),
    "died_on": gettext_lazy("died on"),
    "evidence": gettext_lazy("files (SHA-256)"),
    "examined_on": gettext_lazy("examined on"),
    "examiner": gettext_lazy("examiner"),
    "is_confirmed": gettext_lazy("confirmed"),
    "import_file": gettext_lazy("file of the import (SHA-256)"),
    "reference": gettext_lazy("reference"),
    "import_row": gettext_lazy("row of the import"),
    "merged_from": gettext_lazy("id"),
    "name": gettext_lazy("name"),
    "sex": gettext_lazy("sex"),
    "sire": gettext_lazy("sire"),
    "state": gettext_lazy("state"),
    "studbook_number": gettext_lazy("studbook number"),
}
_VIA = {
    "web": gettext_lazy("on the pages"),
    "api": gettext_lazy("by a program"),
    "import": gettext_lazy("by an import"),
    "command": gettext_lazy("at the command line"),
}
_ROLES = {**dict(Role.choices), "system": gettext_lazy("by itself")}


@dataclass(frozen=True, slots=True)
class ShownEntry:
    """One entry in the shape of ``parts/timeline.html``."""

    title: str
    at: datetime
    who: str
    reason: str
    changes: list[FieldChange]


def shown_entries(entries: Iterable[TimelineEntry]) -> list[ShownEntry]:
    """The entries with titles; who acted is named with role and way in."""
    return [
        ShownEntry(
            title=str(TITLES.get(entry.action, entry.action)),
            at=entry.at,
            who=_("%(who)s (%(role)s), %(via)s")
            % {
                "who": entry.who,
                "role": _ROLES.get(entry.role, entry.role),
                "via": _VIA.get(entry.via, entry.via),
            },
            reason=entry.reason,
            changes=[_worded(change) for change in entry.changes if change.field not in _UNSHOWN],
        )
        for entry in entries
    ]


def _worded(change: FieldChange) -> FieldChange:
    name = str(_FIELDS.get(change.field, change.field))
    if change.field.startswith("readings."):
        _start, trait, side = change.field.split(".")
        name = f"{trait.replace('-', ' ')}, {side}"
    if change.field.startswith("dropped."):
        field = change.field.removeprefix("dropped.")
        name = _("%(field)s of the other entry") % {"field": _FIELDS.get(field, field)}
    if change.field == "sex":
        words = {code: str(label) for code, label in Sex.choices}
        before, after = (words.get(code, code) for code in (change.before, change.after))
        return FieldChange(name, before, after)
    return FieldChange(name, _short(change.before), _short(change.after))


def _short(text: str) -> str:
    """The text with SHA-256 digests cut to what the eye can compare."""
    return re.sub(r"\b([0-9a-f]{12})[0-9a-f]{52}\b", r"\1…", text)
