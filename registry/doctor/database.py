"""The database and the programs around it: does it answer, is it migrated, are versions as locked.

How it is set, for durability and the ledger's triggers, is in ``configured``.
"""

from __future__ import annotations

import platform
import re
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from django.conf import settings
from django.db import OperationalError, connection
from django.db.migrations.executor import MigrationExecutor
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

import registry
from registry.doctor.findings import Check, Verdict, advice, hand, well

_PINNED = re.compile(r"^([A-Za-z0-9._-]+)(?:\[[^\]]*\])?==([^\s;\\]+)", re.MULTILINE)
_SHOWN = 5


def look_at_answer() -> Verdict:
    """One question, one answer."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except OperationalError:
        return hand(
            _("The database does not answer."),
            _("Start the database server, and look at DATABASE_URL and at the server's own log."),
        )
    return well(_("The database answers."))


def look_at_migrations() -> Verdict:
    """Tables as this version of the program wants them."""
    executor = MigrationExecutor(connection)
    waiting = executor.migration_plan(executor.loader.graph.leaf_nodes())
    if not waiting:
        return well(_("The tables fit this version of the program."))
    names = ", ".join(migration.name for migration, _backwards in waiting[:_SHOWN])
    return hand(
        _("Changes of the tables that wait: %(count)d (%(names)s).")
        % {"count": len(waiting), "names": names},
        _("Stop the site, run manage.py upgrade, which backs up first, and start the site again."),
    )


def look_at_versions() -> Verdict:
    """Told, so that a question to others can name them."""
    with connection.cursor() as cursor:
        question = "sqlite_version()" if connection.vendor == "sqlite" else "version()"
        cursor.execute(f"SELECT {question}")
        (answer,) = cursor.fetchone()
    return well(
        _("Soundline %(own)s, Python %(python)s, Django %(django)s, %(database)s.")
        % {
            "own": registry.__version__,
            "python": platform.python_version(),
            "django": version("Django"),
            "database": f"SQLite {answer}"
            if connection.vendor == "sqlite"
            else " ".join(str(answer).split()[:2]),
        }
    )


def look_at_packages() -> Verdict:
    """What is installed against requirements-run.lock; packages of other systems are passed by."""
    lock = Path(settings.BASE_DIR) / "requirements-run.lock"
    if not lock.exists():
        return advice(
            _("The list of tried versions, requirements-run.lock, is not beside the program."),
            _("Copy it from the release you installed, so that the versions can be compared."),
        )
    # A package may be there twice: another version for another Python.
    tried: dict[str, list[str]] = {}
    for name, pinned in _PINNED.findall(lock.read_text(encoding="utf-8")):
        tried.setdefault(name, []).append(pinned)
    others = [
        f"{name} {found} ({', '.join(pins)})"
        for name, pins in tried.items()
        if (found := _installed(name)) not in {None, *pins}
    ]
    if not others:
        return well(_("The installed packages are the ones this version was tried with."))
    return advice(
        _("Other versions than tried, with the tried one in brackets: %(names)s.")
        % {"names": ", ".join(others[:_SHOWN])},
        _("Run: pip install --require-hashes -r requirements-run.lock"),
    )


def _installed(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None


DATABASE = (
    Check("database", gettext_lazy("Whether the database answers"), look_at_answer),
    Check("migrations", gettext_lazy("Whether the tables are up to date"), look_at_migrations),
    Check("versions", gettext_lazy("Versions of the programs"), look_at_versions),
    Check("packages", gettext_lazy("Versions of the packages"), look_at_packages, is_slow=True),
)
