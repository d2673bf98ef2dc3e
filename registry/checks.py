"""System checks: one numbered finding for each setting or database state that is unsafe.

Checks of settings run with every command. Checks that ask the database carry
the `database` tag: they run with `migrate` and with `check --database default`.
What Django's own deployment checks already say is not said again.
"""

import os
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.apps import AppConfig
from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

from registry.archive.sealing import SealKeyError, read_key
from registry.ledger import triggers
from registry.ledger.checkpoints import NoteProblem
from registry.ledger.keys import verifier_keys
from registry.telling.issuer import KeyProblem, issuer

_LOCAL = frozenset({"localhost", "127.0.0.1", "[::1]", "::1", "testserver"})
_SQLITE_LEAST = (3, 35)
_FEWEST_OFFICERS = 2


@register(Tags.security)
def club_is_named(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """E001, E002: the papers need the club's name and the site's own address."""
    found: list[CheckMessage] = []
    if not settings.CLUB_NAME.strip():
        found.append(
            Error("The club has no name.", "Set SOUNDLINE_CLUB_NAME.", id="soundline.E001")
        )
    site = urlsplit(settings.SITE_URL)
    # Certificates are printed: an address that is not TLS would stay on paper for years.
    schemes = {"https"} if settings.IS_PRODUCTION else {"http", "https"}
    if site.scheme not in schemes or not site.hostname or site.path or site.query:
        found.append(
            Error(
                f"The site's address {settings.SITE_URL!r} cannot be printed on certificates.",
                "Set SOUNDLINE_SITE_URL to the form https://registry.example, without a path.",
                id="soundline.E002",
            )
        )
    elif settings.IS_PRODUCTION and not _is_served(site.hostname, settings.ALLOWED_HOSTS):
        found.append(
            Error(
                f"The site's own host {site.hostname!r} is not among SOUNDLINE_HOSTS.",
                "Add it, or every scanned certificate meets an error page.",
                id="soundline.E003",
            )
        )
    return found


def _is_served(host: str, allowed: Sequence[str]) -> bool:
    """Say whether ALLOWED_HOSTS, with its leading-dot wildcard, covers the host."""
    return any(
        host == pattern or (pattern.startswith(".") and f".{host}".endswith(pattern))
        for pattern in allowed
    )


@register(Tags.security)
def trial_stays_at_home(
    app_configs: Sequence[AppConfig] | None, **kwargs: Any
) -> list[CheckMessage]:
    """E004: demo and development modes have no secure cookies and must not face a network."""
    if settings.IS_PRODUCTION:
        return []
    foreign = sorted(set(settings.ALLOWED_HOSTS) - _LOCAL)
    if not foreign:
        return []
    return [
        Error(
            f"The mode {settings.MODE!r} would answer for {', '.join(foreign)}.",
            "Set SOUNDLINE_MODE=production for a site that others can reach.",
            id="soundline.E004",
        )
    ]


@register(Tags.files)
def evidence_is_safe(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """E005, E006: evidence must be writable and outside every folder a web server hands out."""
    evidence = Path(settings.EVIDENCE_ROOT)
    found: list[CheckMessage] = []
    try:
        evidence.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=evidence):
            pass
    except OSError as error:
        found.append(
            Error(
                f"Evidence cannot be written to {evidence}: {error.strerror}.",
                "Give the registry's user that folder, or set SOUNDLINE_EVIDENCE_ROOT.",
                id="soundline.E005",
            )
        )
    public = [Path(root) for root in (settings.STATIC_ROOT, settings.MEDIA_ROOT) if root]
    public.append(Path(settings.BASE_DIR) / "registry" / "static")
    if any(_overlap(evidence, root) for root in public):
        found.append(
            Error(
                f"Evidence in {evidence} would be handed out by the web server.",
                "Set SOUNDLINE_EVIDENCE_ROOT to a folder apart from the static files.",
                id="soundline.E006",
            )
        )
    return found


def _overlap(one: Path, other: Path) -> bool:
    """Say whether one folder lies in the other, links followed."""
    first, second = Path(os.path.realpath(one)), Path(os.path.realpath(other))
    return first.is_relative_to(second) or second.is_relative_to(first)


@register(Tags.security)
def issuer_can_sign(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """E012: certificates need the issuer's key."""
    try:
        issuer()
    except KeyProblem as problem:
        return [
            Error(
                f"Certificates cannot be signed. {problem}",
                "Set SOUNDLINE_ISSUER_KEY to what head -c 32 /dev/urandom | base64 prints, and"
                " SOUNDLINE_ISSUER_FORMER_KEYS to the public keys used before.",
                id="soundline.E012",
            )
        ]
    return []


@register(Tags.security)
def log_can_be_signed(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """E011, W002: the public log needs its key, and people who keep what it signs."""
    try:
        verifier_keys()
    except NoteProblem as problem:
        return [
            Error(
                f"The public log cannot be signed. {problem}",
                "Set SOUNDLINE_LOG_KEY to what head -c 32 /dev/urandom | base64 prints, and"
                " SOUNDLINE_LOG_FORMER_KEYS to the verifier keys used before.",
                id="soundline.E011",
            )
        ]
    if settings.IS_PRODUCTION and len(set(settings.LOG_OFFICERS)) < _FEWEST_OFFICERS:
        return [
            Warning(
                "Fewer than two people keep the log's checkpoints.",
                "Name at least two mail addresses in SOUNDLINE_LOG_OFFICERS: what they keep shows"
                " later whether the history was rewritten.",
                id="soundline.W002",
            )
        ]
    return []


@register(Tags.security)
def backups_can_be_encrypted(
    app_configs: Sequence[AppConfig] | None, **kwargs: Any
) -> list[CheckMessage]:
    """E013: a key that is none stops every backup."""
    try:
        if settings.BACKUP_KEY:
            read_key(settings.BACKUP_KEY)
    except SealKeyError as problem:
        return [
            Error(
                f"No backup can be encrypted. {problem}",
                "Set SOUNDLINE_BACKUP_KEY to what head -c 32 /dev/urandom | base64 prints.",
                id="soundline.E013",
            )
        ]
    return []


@register(Tags.database)
def database_keeps_its_promises(
    app_configs: Sequence[AppConfig] | None, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """E007 to E010: nothing confirmed may be lost, nothing in the ledger rewritten."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        connection = connections[alias]
        if connection.vendor == "sqlite":
            found.extend(_sqlite(connection))
        elif connection.vendor == "postgresql":
            found.extend(_postgresql(connection))
        found.extend(_ledger(connection))
        found.extend(_shared_cache(connection))
    return found


def _ledger(connection: BaseDatabaseWrapper) -> Iterator[CheckMessage]:
    """E007: the triggers that make the ledger append-only must exist once its table does."""
    if "registry_ledgerentry" not in connection.introspection.table_names():
        return
    if missing := triggers.missing(connection):
        yield Error(
            f"The ledger can be rewritten: {', '.join(missing)} missing.",
            "Run manage.py upgrade; then manage.py verify_ledger.",
            id="soundline.E007",
        )


def _value(connection: BaseDatabaseWrapper, question: str) -> str:
    """Return the one value a database answers to a PRAGMA or SHOW."""
    with connection.cursor() as cursor:
        cursor.execute(question)
        return str(cursor.fetchone()[0]).lower()


def _sqlite(connection: BaseDatabaseWrapper) -> Iterator[CheckMessage]:
    """E008, E009: a SQLite that is new enough, with the pragmas of the settings in force."""
    version = tuple(int(part) for part in _value(connection, "SELECT sqlite_version()").split("."))
    if version < _SQLITE_LEAST:
        yield Error(
            f"SQLite {'.'.join(map(str, version))} is too old.",
            f"Use SQLite {'.'.join(map(str, _SQLITE_LEAST))} or newer.",
            id="soundline.E008",
        )
    # A database in memory (as in tests) has no journal to keep.
    journals = {"wal", "memory"} if connection.is_in_memory_db() else {"wal"}  # type: ignore[attr-defined]
    for pragma, wanted in (
        ("journal_mode", journals),
        ("synchronous", {"2"}),
        ("foreign_keys", {"1"}),
        ("recursive_triggers", {"1"}),
    ):
        value = _value(connection, f"PRAGMA {pragma}")
        if value not in wanted:
            yield Error(
                f"SQLite runs with {pragma} = {value}.",
                "A power cut or a second writer could then lose what was confirmed. "
                "Keep the registry's own init_command, on a local disk.",
                id="soundline.E009",
            )


def _postgresql(connection: BaseDatabaseWrapper) -> Iterator[CheckMessage]:
    """E010: the server must write to disk before it confirms."""
    for setting in ("fsync", "synchronous_commit", "full_page_writes"):
        value = _value(connection, f"SHOW {setting}")
        # "local" still waits for this server's own disk, so it is enough.
        if value == "off":
            yield Error(
                f"PostgreSQL runs with {setting} = {value}.",
                f"Set {setting} = on: a power cut could lose results already confirmed.",
                id="soundline.E010",
            )


def _shared_cache(connection: BaseDatabaseWrapper) -> Iterator[CheckMessage]:
    """W001: without its table the throttles fail at the first call."""
    cache = settings.CACHES["default"]
    if not str(cache["BACKEND"]).endswith("DatabaseCache"):
        return
    tables = connection.introspection.table_names()
    if "registry_ledgerentry" in tables and cache["LOCATION"] not in tables:
        yield Warning(
            "The table of the shared cache is missing.",
            "Run manage.py upgrade.",
            id="soundline.W001",
        )
