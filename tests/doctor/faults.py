"""What can be wrong, each with the check that has to name it and a word its finding must hold.

A fault is a function that plants it into a healthy registry; it may use the test's settings and
monkeypatch, which put everything back afterwards.
"""

from __future__ import annotations

import ssl
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from shutil import _ntuple_diskusage

import pytest
from allauth.mfa.models import Authenticator
from django.contrib.staticfiles import finders
from django.db import OperationalError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone
from django_tasks_db.models import DBTaskResult
from pytest_django import Settings

from registry.desk import drafts, evidence, upkeep
from registry.doctor import machine, paper, tls
from registry.ledger import triggers
from registry.models import (
    ApiToken,
    BreedingRun,
    Draft,
    Evidence,
    LedgerEntry,
    LogCheckpoint,
    Membership,
    OutboxMail,
    Role,
    RunState,
    Upkeep,
)
from registry.queries import backups
from tests.factories import Club, make_token

DAY = timedelta(days=1)


@dataclass(frozen=True)
class Place:
    """Where a fault is planted."""

    club: Club
    settings: Settings
    patch: pytest.MonkeyPatch
    tmp_path: Path


@dataclass(frozen=True)
class Fault:
    """One fault: which check names it, what its finding says, whether it is advice only."""

    check: str
    says: str
    plant: Callable[[Place], object]
    is_advice: bool = False


def setting(name: str, value: object, *, production: bool = False) -> Callable[[Place], None]:
    """A setting of another value."""

    def plant(at: Place) -> None:
        setattr(at.settings, name, value)
        if production:
            at.settings.IS_PRODUCTION = True
            at.settings.SITE_URL = "https://registry.example"
            at.settings.ALLOWED_HOSTS = ["registry.example"]

    return plant


def sql(*statements: str) -> Callable[[Place], None]:
    """A change past the desk, with the ledger's triggers out of the way."""

    def plant(at: Place) -> None:
        triggers.uninstall(connection)
        with connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)
        triggers.install(connection)

    return plant


def upkept(name: str, *, ok: bool = True, days: float = 0.0) -> Callable[[Place], None]:
    """A piece of work that ended otherwise, or long ago."""

    def plant(at: Place) -> None:
        Upkeep.objects.filter(name=name).update(ok=ok, at=timezone.now() - days * DAY)

    return plant


def no_trigger(at: Place) -> None:
    table = " ON registry_ledgerentry" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER ledger_entry_no_update{table}")


def no_durability(at: Place) -> None:
    def value(_connection: object, question: str) -> str:
        return "off" if "fsync" in question else {"PRAGMA synchronous": "0"}.get(question, "1")

    at.patch.setattr("registry.checks._value", value)
    at.patch.setattr("registry.checks._SQLITE_LEAST", (1,))


def no_answer(at: Place) -> None:
    def silent() -> None:
        raise OperationalError("connection refused")

    at.patch.setattr(connection, "cursor", silent)


def disk_of(free: int) -> Callable[[Place], None]:
    def plant(at: Place) -> None:
        usage = _ntuple_diskusage(2**40, 2**40 - free, free)
        at.patch.setattr("shutil.disk_usage", lambda _folder: usage)

    return plant


def open_evidence(at: Place) -> None:
    at.settings.EVIDENCE_ROOT.chmod(0o755)


def open_key(at: Place) -> None:
    (at.settings.VAR_DIR / "trial-secret-key").chmod(0o644)


def lost_style_sheet(at: Place) -> None:
    at.patch.setattr(machine, "_is_served", lambda name: "site.css" not in name)


def lost_plotly(at: Place) -> None:
    at.patch.setattr(finders, "find", lambda name: None)


def changed_film(at: Place) -> None:
    found = evidence.attach(by=at.club.nurse.actor, chunks=[b"%PDF-1.7 film"], name="a.pdf")
    evidence.stored_path(found).write_bytes(b"%PDF-1.7 fake")


def lost_film(at: Place) -> None:
    found = evidence.attach(by=at.club.nurse.actor, chunks=[b"%PDF-1.7 film"], name="a.pdf")
    evidence.stored_path(Evidence.objects.get(pk=found.pk)).unlink()


def waiting_task(at: Place) -> None:
    now = timezone.now()
    DBTaskResult.objects.create(
        args_kwargs={"args": [], "kwargs": {}},
        task_path="registry.desk.breeding.breeding_run",
        backend_name="default",
        run_after=now - timedelta(hours=2),
        status="READY",
    )
    DBTaskResult.objects.update(enqueued_at=now - timedelta(hours=2))


def waiting_mail(at: Place) -> None:
    OutboxMail.objects.create(kind="accepted", to_email="a@b.example", last_error="line is dead")
    OutboxMail.objects.update(created_at=timezone.now() - timedelta(hours=2))


def given_up_mail(at: Place) -> None:
    OutboxMail.objects.create(kind="accepted", to_email="a@b.example", attempts=200)


def ending_token(at: Place) -> None:
    make_token(at.club.nurse, by=at.club.secretary.actor)
    ApiToken.objects.update(expires_at=timezone.now() + 3 * DAY)


def stale_draft(at: Place) -> None:
    drafts.start_draft(by=at.club.nurse.actor)
    Draft.objects.update(updated_at=timezone.now() - 40 * DAY)


def ended(role: Role) -> Callable[[Place], None]:
    def plant(at: Place) -> None:
        held = Membership.objects.filter(role=role).order_by("pk").last()
        assert held is not None
        Membership.objects.filter(pk=held.pk).update(ended_at=timezone.now())

    return plant


def run(state: RunState, **facts: object) -> Callable[[Place], None]:
    def plant(at: Place) -> None:
        then = timezone.now() - 3 * DAY
        BreedingRun.objects.create(
            breed=at.club.breed, number=1, state=state, asked_at=then, finished_at=then
        )
        entries = LedgerEntry.objects.all()
        triggers.uninstall(connection)
        entries.update(at=then)
        triggers.install(connection)

    return plant


def unmailed(at: Place) -> None:
    LogCheckpoint.objects.update(made_at=timezone.now() - 4 * DAY)


def unsealed(at: Place) -> None:
    LogCheckpoint.objects.all().delete()
    triggers.uninstall(connection)
    LedgerEntry.objects.update(at=timezone.now() - timedelta(hours=6))
    triggers.install(connection)


def other_history(at: Place) -> None:
    LogCheckpoint.objects.update(root="ab" * 32)


def note_of_a_stranger(at: Place) -> None:
    at.settings.LOG_KEY = "QUJD" * 10 + "QUI="


def tls_ends_in(days: int) -> Callable[[Place], None]:
    def plant(at: Place) -> None:
        setting("CLUB_NAME", "Fellside Dog Club", production=True)(at)
        ends_at = timezone.now() + days * DAY + timedelta(hours=1)
        at.patch.setattr(tls, "_ends_at", lambda host, port: ends_at)

    return plant


def tls_refused(at: Place) -> None:
    def refuse(host: str, port: int) -> None:
        raise ssl.SSLCertVerificationError(1, "certificate verify failed")

    setting("CLUB_NAME", "Fellside Dog Club", production=True)(at)
    at.patch.setattr(tls, "_ends_at", refuse)


def no_paper(at: Place) -> None:
    def fail(_paper: object) -> None:
        raise OSError("no space left")

    at.patch.setattr(paper, "certificate_pdf", fail)


def no_font(at: Place) -> None:
    at.patch.setattr(paper, "_FONT", "Tarn Antiqua")


def other_packages(at: Place) -> None:
    (at.tmp_path / "requirements-run.lock").write_text("Django==1.0 \\\n", encoding="utf-8")
    at.settings.BASE_DIR = at.tmp_path


def waiting_migration(at: Place) -> None:
    (newest,) = MigrationLoader(connection).graph.leaf_nodes("registry")
    MigrationRecorder(connection).record_unapplied(*newest)


def no_cache_table(at: Place) -> None:
    backend = "django.core.cache.backends.db.DatabaseCache"
    at.settings.CACHES = {"default": {"BACKEND": backend, "LOCATION": "nowhere"}}


def evidence_is_a_file(at: Place) -> None:
    (at.tmp_path / "file").touch()
    at.settings.EVIDENCE_ROOT = at.tmp_path / "file"


_FUTURE = "UPDATE registry_ledgerentry SET at = '2090-01-01 00:00:00+00:00'"


def backup_with_gaps(_at: Place) -> None:
    facts = {"missing_files": 2, "changed_files": 0}
    upkeep.remember(name=backups.MADE, ok=False, detail=facts)


def no_second_step(at: Place) -> None:
    Authenticator.objects.filter(user=at.club.registrar.user).delete()


def failed_backup(_at: Place) -> None:
    upkeep.remember(name=backups.FAILED, ok=False, detail={"error": "The disk is full."})


def no_copy(at: Place) -> None:
    at.settings.BACKUP_COPY_FOLDER = at.tmp_path
    Upkeep.objects.filter(name=backups.COPIED).delete()


def failed_copy(at: Place) -> None:
    at.settings.BACKUP_COPY_FOLDER = at.tmp_path
    upkeep.remember(name=backups.NOT_COPIED, ok=False, detail={"error": "It is not mounted."})


def old_copy(at: Place) -> None:
    at.settings.BACKUP_COPY_FOLDER = at.tmp_path
    upkept(backups.COPIED, days=3)(at)


def copy_beside_the_backup(at: Place) -> None:
    at.settings.BACKUP_COPY_FOLDER = at.settings.BACKUP_FOLDER = at.tmp_path


def full_backups_disk(at: Place) -> None:
    at.settings.BACKUP_FOLDER = at.tmp_path
    disk_of(100 * 2**20)(at)


FAULTS = (
    Fault("database", "does not answer", no_answer),
    Fault("migrations", "that wait: 1", waiting_migration),
    Fault("packages", "Django", other_packages, is_advice=True),
    Fault("club-name", "soundline.E001", setting("CLUB_NAME", " ")),
    Fault("site-address", "soundline.E002", setting("SITE_URL", "registry.example")),
    Fault("mode", "soundline.E004", setting("ALLOWED_HOSTS", ["registry.example"])),
    Fault("evidence-folder", "soundline.E005", evidence_is_a_file),
    Fault("evidence-apart", "soundline.E006", lambda at: setting("MEDIA_ROOT", at.tmp_path)(at)),
    Fault("ledger-triggers", "ledger_entry_no_update", no_trigger),
    Fault("database-durability", "soundline.E0", no_durability),
    Fault("log-key", "soundline.E011", setting("LOG_KEY", "AAAA")),
    Fault("issuer-key", "soundline.E012", setting("ISSUER_KEY", "AAAA")),
    Fault(
        "officers",
        "soundline.W002",
        setting("LOG_OFFICERS", ["one@club.example"], production=True),
        is_advice=True,
    ),
    Fault("shared-cache", "soundline.W001", no_cache_table),
    Fault("other-settings", "security.W0", setting("DEBUG", True, production=True), is_advice=True),
    Fault("clock", "2090", sql(_FUTURE)),
    Fault("disk-files", "100.0", disk_of(100 * 2**20)),
    Fault("disk-files", "1.0", disk_of(2**30), is_advice=True),
    Fault("evidence-private", "755", open_evidence),
    Fault("secret-files", "trial-secret-key", open_key),
    Fault("static-files", "site.css", lost_style_sheet),
    Fault("plotly", "missing", lost_plotly),
    Fault("time-zone", "UTC", setting("TIME_ZONE", "UTC"), is_advice=True),
    Fault("ledger-head", "newest entry", sql("UPDATE registry_ledgerhead SET seq = seq + 1")),
    Fault("ledger-head", "was signed for", other_history),
    Fault("checkpoint-age", "waited", unsealed),
    Fault("checkpoint-opens", "does not open", note_of_a_stranger),
    Fault("checkpoint-mail", "none was mailed", unmailed),
    Fault("checkpoint-mail", "Nobody", setting("LOG_OFFICERS", []), is_advice=True),
    Fault("ledger-verified", "damaged", upkept(upkeep.LEDGER, ok=False)),
    Fault("ledger-verified", "3\xa0days", upkept(upkeep.LEDGER, days=3)),
    Fault("records-verified", "did not say", upkept(upkeep.RECORDS, ok=False)),
    Fault("records-verified", "3\xa0days", upkept(upkeep.RECORDS, days=3)),
    Fault("counts", "differed", upkept(upkeep.COUNTS, ok=False)),
    Fault("evidence-sample", "gone", changed_film),
    Fault("evidence-sample", "gone", lost_film),
    Fault("backup", "3\xa0days", upkept(backups.MADE, days=3)),
    Fault("backup", "has been made", lambda at: Upkeep.objects.filter(name=backups.MADE).delete()),
    Fault("backup", "disk is full", failed_backup),
    Fault("backup-whole", "missing: 2, files changed: 0", backup_with_gaps),
    Fault("backup-tried", "trial failed", upkept(backups.TRIED, ok=False)),
    Fault(
        "backup-tried",
        "never",
        lambda at: Upkeep.objects.filter(name=backups.TRIED).delete(),
        is_advice=True,
    ),
    Fault("backup-tried", "3\xa0weeks", upkept(backups.TRIED, days=22), is_advice=True),
    Fault("backup-copied", "not copied", setting("BACKUP_COPY_FOLDER", None), is_advice=True),
    Fault("backup-copied", "copied away yet", no_copy),
    Fault("backup-copied", "It is not mounted.", failed_copy),
    Fault("backup-copied", "3\xa0days", old_copy),
    Fault("backup-copied", "same disk", copy_beside_the_backup, is_advice=True),
    Fault(
        "backup-encrypted",
        "not encrypted",
        lambda at: setting("BACKUP_FOLDER", at.tmp_path)(at),
        is_advice=True,
    ),
    Fault("backup-key", "soundline.E013", setting("BACKUP_KEY", "AAAA")),
    Fault("disk-backups", "100.0", full_backups_disk),
    Fault("worker", "1\xa0hour", upkept(upkeep.WORKER, days=1 / 24)),
    Fault("worker", "never", lambda at: Upkeep.objects.filter(name=upkeep.WORKER).delete()),
    Fault("mail-waiting", "line is dead", waiting_mail),
    Fault("mail-given-up", "200", given_up_mail),
    Fault("mail-addresses", "MAIL_FROM", setting("DEFAULT_FROM_EMAIL", "the registry")),
    Fault("mail-way", "without", setting("EMAIL_USE_TLS", False), is_advice=True),
    Fault("tasks", "an hour: 1", waiting_task),
    Fault("runs-failed", "Tarn Spaniel", run(RunState.FAILED)),
    Fault("runs-behind", "Tarn Spaniel", run(RunState.DONE)),
    Fault("registrars", "(1)", ended(Role.REGISTRAR)),
    Fault("secretaries", "(1)", ended(Role.SECRETARY)),
    Fault("second-steps", "Registrar", no_second_step, is_advice=True),
    Fault("tokens", "a test's program", ending_token, is_advice=True),
    Fault("drafts", "month: 1", stale_draft, is_advice=True),
    Fault("fonts", "Tarn Antiqua", no_font),
    Fault("certificate", "no space left", no_paper),
    Fault("tls", "3 more days", tls_ends_in(3)),
    Fault("tls", "15 more days", tls_ends_in(15), is_advice=True),
    Fault("tls", "refuse", tls_refused),
)
