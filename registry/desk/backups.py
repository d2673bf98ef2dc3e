"""Make backups, copy them away, try that they can be put back, keep the newest, and remember
when."""

from __future__ import annotations

import logging
import tempfile
from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.utils import timezone

from registry.archive.copying import copy_away
from registry.archive.practice import put_back_for_practice
from registry.archive.writing import BackupProblemError, Made, back_up, backups_in
from registry.desk import upkeep
from registry.models import Upkeep
from registry.queries.backups import COPIED, FAILED, MADE, NOT_COPIED, TRIED

logger = logging.getLogger(__name__)

_BETWEEN_BACKUPS = timedelta(hours=23, minutes=30)
_BETWEEN_TRIALS = timedelta(days=7)
_BEFORE_NEXT_TRY = timedelta(hours=1)


def make_backup(folder: Path) -> Made:
    """Write an archive into the folder and note that it was made; raises BackupProblemError."""
    try:
        made = back_up(folder)
    except OSError as error:
        raise _noted(f"The backup could not be written: {error}") from error
    except BackupProblemError as problem:
        raise _noted(str(problem)) from problem
    facts = made.manifest.facts
    upkeep.remember(
        name=MADE,
        ok=not facts["missing_files"] and not facts["changed_files"],
        detail={
            "file": made.path.name,
            "bytes": made.path.stat().st_size,
            "content": made.manifest.content,
            "missing_files": len(facts["missing_files"]),
            "changed_files": len(facts["changed_files"]),
        },
    )
    return made


def try_backup(archive: Path) -> tuple[bool, str]:
    """Put an archive back in a scratch place, verify it there, and note how it went."""
    # Beside the registry's own files: a machine's temporary folder may lie in its memory.
    Path(settings.VAR_DIR).mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="practice-", dir=settings.VAR_DIR) as folder:
        ok, said = put_back_for_practice(archive, Path(folder))
    upkeep.remember(name=TRIED, ok=ok, detail={"file": archive.name})
    if not ok:
        _noted(f"{archive.name} could not be put back: {said[-1_000:]}")
    return ok, said


def back_up_when_due() -> Path | None:
    """Back up daily, copy each backup away, and try one a week, when the settings name a folder;
    the new backup.

    Two workers at the same moment make two backups, which does no harm.
    """
    folder = settings.BACKUP_FOLDER
    if folder is None:
        return None
    if not _is_due(MADE, _BETWEEN_BACKUPS, FAILED):
        _copy_when_due(folder)
        return None
    try:
        made = make_backup(folder)
    except BackupProblemError:
        logger.exception("backup: none was made")
        return None
    _keep_newest(folder)
    _copy_when_due(folder)
    if _is_due(TRIED, _BETWEEN_TRIALS, FAILED):
        ok, said = try_backup(made.path)
        if not ok:
            logger.error("backup: %s could not be put back: %s", made.path.name, said)
    return made.path


def copy_backup(path: Path, folder: Path) -> Path:
    """Copy a backup into a folder of another machine and note that it lies there; raises
    BackupProblemError."""
    try:
        copy = copy_away(path, folder)
    except BackupProblemError as problem:
        upkeep.remember(name=NOT_COPIED, ok=False, detail={"error": str(problem)})
        raise
    upkeep.remember(name=COPIED, ok=True, detail={"file": path.name})
    return copy


def _copy_when_due(folder: Path) -> None:
    """Copy the newest backup unless it was copied, or failed to be a moment ago."""
    away = settings.BACKUP_COPY_FOLDER
    made = backups_in(folder)
    if away is None or not made or _has_just_failed(NOT_COPIED):
        return
    last = Upkeep.objects.filter(name=COPIED).first()
    if last is not None and last.detail.get("file") == made[-1].name:
        return
    try:
        copy_backup(made[-1], away)
    except BackupProblemError:
        logger.exception("backup: %s was not copied", made[-1].name)
        return
    _keep_newest(away)


def _is_due(name: str, between: timedelta, failure: str) -> bool:
    """Whether the last time is long enough ago, and the last failure not of a moment ago. What lies
    in the future was written by a clock that was ahead, and proves nothing."""
    now = timezone.now()
    last = Upkeep.objects.filter(name=name, at__gt=now - between, at__lte=now)
    return not last.exists() and not _has_just_failed(failure)


def _has_just_failed(failure: str) -> bool:
    now = timezone.now()
    failed = Upkeep.objects.filter(name=failure, at__gt=now - _BEFORE_NEXT_TRY, at__lte=now)
    return failed.exists()


def _keep_newest(folder: Path) -> None:
    """Remove the oldest backups beyond the number that is kept."""
    for path in backups_in(folder)[: -settings.BACKUPS_KEPT]:
        path.unlink(missing_ok=True)


def _noted(words: str) -> BackupProblemError:
    upkeep.remember(name=FAILED, ok=False, detail={"error": words})
    return BackupProblemError(words)
