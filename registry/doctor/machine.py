"""The machine the registry runs on: clock, disks, folders, files of its own, time zone.

What lies in the database is not looked at here, apart from the newest entry's time.
"""

from __future__ import annotations

import shutil
import stat
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.db import connection
from django.template.defaultfilters import filesizeformat
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.doctor.findings import Check, Verdict, advice, hand, well
from registry.models import LedgerEntry
from registry.plotly_files import NAME, PREFIX
from registry.wording import dates

_MEGABYTE = 2**20
# Below the first a few uploads fill the disk; below the second there is time to make room.
_TOO_LITTLE = 300 * _MEGABYTE
_LITTLE = 2_048 * _MEGABYTE
_PLOTLY = f"{PREFIX}/{NAME}"
_NEEDED_FILES = ("soundline/site.css", "soundline/lists.css", "soundline/staff.css", _PLOTLY)


def look_at_clock() -> Verdict:
    """An entry from the future means that the clock was set back, or was wrong then."""
    now, newest = timezone.now(), LedgerEntry.objects.order_by("-seq").first()
    words = _("It is %(now)s here.") % {"now": dates.moment(now)}
    if newest is None or newest.at <= now:
        return well(words)
    return hand(
        words
        + " "
        + _("The ledger's newest entry is of %(at)s.") % {"at": dates.moment(newest.at)},
        _("Set the computer's clock right, and let it follow a time server."),
    )


def look_at_files_disk() -> Verdict:
    """Room for files and mail below SOUNDLINE_VAR."""
    return room_at(Path(settings.VAR_DIR))


def look_at_database_disk() -> Verdict:
    """Room for the database's file; a PostgreSQL server's disk cannot be seen from here."""
    if connection.vendor == "sqlite":
        return room_at(Path(str(connection.settings_dict["NAME"])).parent)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_database_size(current_database())")
        (size,) = cursor.fetchone()
    return well(
        _("The database holds %(size)s. The disk of its server cannot be seen from here.")
        % {"size": filesizeformat(size)}
    )


def room_at(folder: Path) -> Verdict:
    """How much room there is on a folder's disk."""
    free = shutil.disk_usage(folder).free
    words = _("%(free)s are free at %(folder)s.") % {
        "free": filesizeformat(free),
        "folder": folder,
    }
    if free >= _LITTLE:
        return well(words)
    fix = _("Make room on that disk, or move the folder to a larger one.")
    return hand(words, fix) if free < _TOO_LITTLE else advice(words, fix)


def look_at_evidence_rights() -> Verdict:
    """The films are personal data: no other user of the computer reads them."""
    folder = Path(settings.EVIDENCE_ROOT)
    mode = stat.S_IMODE(folder.stat().st_mode)
    if not mode & (stat.S_IRWXG | stat.S_IRWXO):
        return well(_("Only the registry's own user can open %(folder)s.") % {"folder": folder})
    return hand(
        _("Other users of this computer can open %(folder)s (mode %(mode)o).")
        % {"folder": folder, "mode": mode},
        _("Run: chmod 700 %(folder)s") % {"folder": folder},
    )


def look_at_secret_files() -> Verdict:
    """Keys in files below SOUNDLINE_VAR are for the registry's own user alone."""
    files = sorted(Path(settings.VAR_DIR).glob("*-key"))
    open_ones = [file for file in files if stat.S_IMODE(file.stat().st_mode) & 0o077]
    if not open_ones:
        return well(
            _("Files of keys: %(count)d, each for the registry's own user alone.")
            % {"count": len(files)}
        )
    names = " ".join(str(file) for file in open_ones)
    return hand(
        _("Others can read these keys: %(names)s.") % {"names": names},
        _("Run: chmod 600 %(names)s – and if others use this computer, make new keys.")
        % {"names": names},
    )


def look_at_static_files() -> Verdict:
    """Style sheets and scripts, as pages will ask for them."""
    missing = [name for name in _NEEDED_FILES if not _is_served(name)]
    if not missing:
        return well(_("Style sheets and scripts are in their place."))
    return hand(
        _("Missing: %(names)s.") % {"names": ", ".join(missing)},
        _("Run manage.py collectstatic --no-input, then start the site again."),
    )


def _is_served(name: str) -> bool:
    """Say whether the collected file is there; without hashed names a finder serves it too."""
    try:
        place = staticfiles_storage.stored_name(name)  # type: ignore[attr-defined]
    except ValueError:
        return False
    except AttributeError:
        return finders.find(name) is not None
    return staticfiles_storage.exists(place)


def look_at_plotly() -> Verdict:
    """The charting script comes with its package."""
    if finders.find(_PLOTLY):
        return well(_("The script of the interactive charts is installed."))
    return hand(
        _("The script of the interactive charts is missing."),
        _("Install the packages of requirements-run.lock again, then run manage.py collectstatic."),
    )


def look_at_time_zone() -> Verdict:
    """UTC is right for few clubs."""
    words = _("Pages and papers show the time of %(zone)s.") % {"zone": settings.TIME_ZONE}
    if settings.TIME_ZONE != "UTC":
        return well(words)
    return advice(words, _("Set SOUNDLINE_TIME_ZONE to the club's own, for example Europe/Vienna."))


MACHINE = (
    Check("clock", gettext_lazy("The computer's clock"), look_at_clock),
    Check("disk-files", gettext_lazy("Room on the disk for files"), look_at_files_disk),
    Check(
        "disk-database", gettext_lazy("Room on the disk for the database"), look_at_database_disk
    ),
    Check("evidence-private", gettext_lazy("Who can open evidence"), look_at_evidence_rights),
    Check("secret-files", gettext_lazy("Who can read the keys"), look_at_secret_files),
    Check("static-files", gettext_lazy("Style sheets and scripts"), look_at_static_files),
    Check("plotly", gettext_lazy("The script of the charts"), look_at_plotly),
    Check("time-zone", gettext_lazy("The club's time zone"), look_at_time_zone),
)
