"""When the registry was last backed up, when a backup was last copied away, and when it was last
tried whether one comes back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from registry.models import LedgerEntry, Upkeep

# Names of the notes that ``registry.desk.backups`` leaves.
MADE = "backup"
TRIED = "backup-tried"
FAILED = "backup-failed"
COPIED = "backup-copied"
NOT_COPIED = "backup-copy-failed"
_TOO_OLD = timedelta(hours=48)
_TRIAL_TOO_OLD = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class Backups:
    """``made_at`` is the last backup, ``copied_at`` the last that was copied away, ``tried_at`` the
    last trial that went well; None for never. ``error`` and ``copy_error`` are what failed since
    then, in words; ``has_failed_trial`` says that the last trial did not go well."""

    made_at: datetime | None
    copied_at: datetime | None
    tried_at: datetime | None
    has_failed_trial: bool
    error: str
    copy_error: str

    @property
    def is_late(self) -> bool:
        """Whether two days went by without a backup."""
        return _is_before(self.made_at, _TOO_OLD)

    @property
    def is_copy_late(self) -> bool:
        """Whether two days went by without one that was copied away."""
        return _is_before(self.copied_at, _TOO_OLD)

    @property
    def is_untried(self) -> bool:
        """Whether it has not been shown for two weeks that a backup comes back."""
        return _is_before(self.tried_at, _TRIAL_TOO_OLD)


def backups_today() -> Backups:
    """As the notes say now."""
    names = (MADE, TRIED, FAILED, COPIED, NOT_COPIED)
    noted = {note.name: note for note in Upkeep.objects.filter(name__in=names)}
    made, tried, copied = noted.get(MADE), noted.get(TRIED), noted.get(COPIED)
    return Backups(
        made_at=made.at if made else None,
        copied_at=copied.at if copied else None,
        tried_at=tried.at if tried and tried.ok else None,
        has_failed_trial=tried is not None and not tried.ok,
        error=_error(noted.get(FAILED), made),
        copy_error=_error(noted.get(NOT_COPIED), copied),
    )


def is_old_enough_to_lose() -> bool:
    """Whether the registry has held something for as long as a backup may be late."""
    first = LedgerEntry.objects.order_by("seq").first()
    return first is not None and _is_before(first.at, _TOO_OLD)


def _is_before(at: datetime | None, age: timedelta) -> bool:
    return at is None or at < timezone.now() - age


def _error(failed: Upkeep | None, since: Upkeep | None) -> str:
    """What failed, when nothing has gone well since."""
    if failed is None or (since is not None and since.at >= failed.at):
        return ""
    return str(failed.detail.get("error", ""))
