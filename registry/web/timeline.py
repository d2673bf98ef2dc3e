"""The audit trail for ``parts/timeline.html``: each ledger action as a short title in plain
words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

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
    "evaluation.consent": gettext_lazy("Consent to publish changed"),
    "dog.registered": gettext_lazy("Dog registered"),
    "dog.corrected": gettext_lazy("Dog's facts corrected"),
    "dog.confirmed": gettext_lazy("Dog confirmed"),
}


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
            who=_("%(who)s (%(role)s, by %(via)s)")
            % {"who": entry.who, "role": entry.role, "via": entry.via},
            reason=entry.reason,
            changes=[change for change in entry.changes if change.field != "standing"],
        )
        for entry in entries
    ]
