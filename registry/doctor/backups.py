"""Whether the registry could be put back today: a backup of these days, one on another machine,
and one that was tried; and what of it the secretaries are told by mail."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings
from django.utils.timesince import timesince
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.doctor.findings import Check, Level, Verdict, advice, hand, well
from registry.doctor.machine import MACHINE, room_at
from registry.models import Upkeep
from registry.queries.backups import MADE, backups_today, is_old_enough_to_lose

_HOW = gettext_lazy(
    "Set SOUNDLINE_BACKUP_FOLDER and keep manage.py work running, or run manage.py backup FOLDER."
)


def look_at_backup() -> Verdict:
    """One within two days, and none that failed since."""
    found = backups_today()
    if found.error:
        return hand(_("The last backup failed. %(why)s") % {"why": found.error}, str(_HOW))
    if found.made_at is None:
        return hand(_("No backup has been made yet."), str(_HOW))
    age = timesince(found.made_at, depth=1)
    words = _("The last backup was made %(age)s ago.") % {"age": age}
    return hand(words, str(_HOW)) if found.is_late else well(words)


def look_at_trial() -> Verdict:
    """A backup that nobody has put back is a hope."""
    found = backups_today()
    how = _("Run manage.py backup FOLDER --self-test.")
    if found.has_failed_trial:
        return hand(
            _("The last trial failed: the backup could not be put back."),
            how + " " + _("It says why. Keep older backups until it goes well."),
        )
    if found.tried_at is None:
        return advice(_("It was never tried whether a backup comes back."), how)
    age = timesince(found.tried_at, depth=1)
    words = _("A backup was last put back for a trial %(age)s ago.") % {"age": age}
    return advice(words, how) if found.is_untried else well(words)


def look_at_content() -> Verdict:
    """An archive notes the files that were gone or changed when it was made."""
    row = Upkeep.objects.filter(name=MADE).first()
    if row is None or row.ok:
        return well(_("The last backup misses nothing.") if row else _("There is none to look at."))
    words = _("In the last backup, files missing: %(missing)d, files changed: %(changed)d.")
    numbers = {name: row.detail.get(f"{name}_files", 0) for name in ("missing", "changed")}
    return hand(
        words % numbers,
        _("Run manage.py verify_records, and take these files from an older backup."),
    )


def look_at_copy() -> Verdict:
    """Fire and thieves take the machine with the backups on it."""
    folder = settings.BACKUP_COPY_FOLDER
    how = _("Mount a disk of another machine, and set SOUNDLINE_BACKUP_COPY_FOLDER to its folder.")
    if folder is None:
        return advice(_("Backups are not copied to another machine."), how)
    found = backups_today()
    if found.copy_error:
        return hand(
            _("The last backup was not copied away. %(why)s") % {"why": found.copy_error},
            _("Put right what it says; it is tried again every hour."),
        )
    if found.copied_at is None:
        return hand(_("No backup has been copied away yet."), str(_HOW))
    age = timesince(found.copied_at, depth=1)
    words = _("The last copy on another disk was made %(age)s ago.") % {"age": age}
    if found.is_copy_late:
        return hand(words, str(_HOW))
    if settings.BACKUP_FOLDER is not None and _are_on_one_disk(folder, settings.BACKUP_FOLDER):
        return advice(words + " " + _("It lies on the same disk as the backup itself."), how)
    return well(words)


def _are_on_one_disk(one: Path, other: Path) -> bool:
    return one.stat().st_dev == other.stat().st_dev


def look_at_encryption() -> Verdict:
    """A backup holds all personal data of the club."""
    if settings.BACKUP_KEY:
        return well(_("Backups are encrypted with SOUNDLINE_BACKUP_KEY. Keep that key elsewhere."))
    if settings.BACKUP_FOLDER is None and settings.BACKUP_COPY_FOLDER is None:
        return well(_("No folder for backups is set; what you make by hand is not encrypted."))
    return advice(
        _("Backups are not encrypted: whoever gets one reads everything."),
        _(
            "Set SOUNDLINE_BACKUP_KEY to what head -c 32 /dev/urandom | base64 prints, and keep it"
            " in a second place: without it no encrypted backup opens."
        ),
    )


def look_at_backups_disk() -> Verdict:
    """Room for the next backup."""
    folder = settings.BACKUP_FOLDER
    if folder is None or not folder.is_dir():
        return well(_("There is no folder of backups yet."))
    return room_at(folder)


def backup_troubles() -> dict[str, str]:
    """What the secretaries are told by mail, under the names of the checks: a backup or its copy
    that is two days late, a trial that failed, a disk that is almost full."""
    found, is_old = backups_today(), is_old_enough_to_lose()
    has_copies = settings.BACKUP_COPY_FOLDER is not None
    wanted = {
        "backup": found.is_late and is_old,
        "backup-tried": found.has_failed_trial,
        "backup-copied": has_copies and found.is_copy_late and is_old,
        "disk-backups": True,
        "disk-files": True,
        "disk-database": True,
    }
    checks = [check for check in (*BACKUPS, *MACHINE) if wanted.get(check.name)]
    findings = [check.made() for check in checks]
    return {
        finding.check: f"{finding.found}\n{finding.fix}"
        for finding in findings
        if finding.level == Level.HAND
    }


BACKUPS = (
    Check("backup", gettext_lazy("The last backup"), look_at_backup),
    Check("backup-tried", gettext_lazy("Whether a backup comes back"), look_at_trial),
    Check("backup-whole", gettext_lazy("Whether the last backup is whole"), look_at_content),
    Check("backup-copied", gettext_lazy("The last copy on another machine"), look_at_copy),
    Check("backup-encrypted", gettext_lazy("Whether backups are encrypted"), look_at_encryption),
    Check("disk-backups", gettext_lazy("Room on the disk for backups"), look_at_backups_disk),
)
