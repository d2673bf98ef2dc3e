"""When the registry was last backed up, and when it was last tried whether a backup comes back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from registry.models import Upkeep

# Names of the notes that ``registry.desk.backups`` leaves.
MADE = "backup"
TRIED = "backup-tried"
FAILED = "backup-failed"
_TOO_OLD = timedelta(hours=48)
_TRIAL_TOO_OLD = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class Backups:
    """``made_at`` is the last backup, ``tried_at`` the last trial that went well; None for never.
    ``error`` is what failed since the last backup, in words."""

    made_at: datetime | None
    tried_at: datetime | None
    error: str

    @property
    def is_late(self) -> bool:
        """Whether two days went by without a backup."""
        return self.made_at is None or self.made_at < timezone.now() - _TOO_OLD

    @property
    def is_untried(self) -> bool:
        """Whether it has not been shown for two weeks that a backup comes back."""
        return self.tried_at is None or self.tried_at < timezone.now() - _TRIAL_TOO_OLD


def backups_today() -> Backups:
    """As the notes say now."""
    noted = {note.name: note for note in Upkeep.objects.filter(name__in=(MADE, TRIED, FAILED))}
    made, tried, failed = (noted.get(name) for name in (MADE, TRIED, FAILED))
    is_failing = failed is not None and (made is None or failed.at > made.at)
    return Backups(
        made_at=made.at if made else None,
        tried_at=tried.at if tried and tried.ok else None,
        error=str(failed.detail.get("error", "")) if failed and is_failing else "",
    )
