"""Whether the registry could be put back today: a backup of these days, and one that was tried."""

from __future__ import annotations

from django.utils.timesince import timesince
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.doctor.findings import Check, Verdict, advice, hand, well
from registry.models import Upkeep
from registry.queries.backups import MADE, backups_today

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


BACKUPS = (
    Check("backup", gettext_lazy("The last backup"), look_at_backup),
    Check("backup-tried", gettext_lazy("Whether a backup comes back"), look_at_trial),
    Check("backup-whole", gettext_lazy("Whether the last backup is whole"), look_at_content),
)
