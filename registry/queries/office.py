"""What the secretary's overview shows: counts of what there is and what waits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from registry.models import Dog, Evaluation, LedgerEntry, State
from registry.queries.backups import Backups, backups_today
from registry.science.working_days import working_days_between


@dataclass(frozen=True, slots=True)
class Office:
    """The state of the registry today. ``oldest_days`` are working days; None when nothing
    waits."""

    waiting: int
    oldest_days: int | None
    returned: int
    accepted: int
    dogs: int
    unconfirmed_dogs: int
    entries: int
    last_entry_at: datetime | None
    backups: Backups


def office_today() -> Office:
    """Count everything anew."""
    states = Evaluation.objects.values_list("state", flat=True)
    oldest = (
        Evaluation.objects.filter(state=State.SUBMITTED)
        .order_by("submitted_at")
        .values_list("submitted_at", flat=True)
        .first()
    )
    last = LedgerEntry.objects.order_by("-seq").first()
    return Office(
        waiting=states.filter(state=State.SUBMITTED).count(),
        oldest_days=working_days_between(timezone.localdate(oldest), timezone.localdate())
        if oldest
        else None,
        returned=states.filter(state=State.RETURNED).count(),
        accepted=states.filter(state=State.ACCEPTED).count(),
        dogs=Dog.objects.count(),
        unconfirmed_dogs=Dog.objects.filter(is_confirmed=False).count(),
        entries=last.seq if last else 0,
        last_entry_at=last.at if last else None,
        backups=backups_today(),
    )
