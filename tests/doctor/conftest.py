"""A registry in which nothing needs a hand, for faults to be planted into."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.conf import settings as configured
from pytest_django import Settings

from registry.desk import upkeep
from registry.desk.log import publish_checkpoint
from registry.models import OutboxMail, Role
from registry.queries.backups import COPIED, MADE, TRIED
from tests.factories import Club, make_accepted, make_club, make_person


@pytest.fixture
def healthy(settings: Settings, tmp_path: Path) -> Club:
    """A club with two of each office, sealed, verified, its mail sent and its worker at work."""
    for name in ("VAR_DIR", "EVIDENCE_ROOT"):
        folder = tmp_path / name.lower()
        folder.mkdir(mode=0o700)
        setattr(settings, name, folder)
    (configured.VAR_DIR / "trial-secret-key").touch(mode=0o600)
    settings.LOG_OFFICERS = ["one@club.example", "two@club.example"]
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_USE_TLS, settings.EMAIL_HOST = True, "mail.club.example"
    settings.DEFAULT_FROM_EMAIL = settings.CONTACT_EMAIL = "office@club.example"
    club = make_club()
    make_person(Role.SECRETARY, by=club.secretary.actor)
    make_accepted(club)
    OutboxMail.objects.all().delete()
    publish_checkpoint()
    work = (upkeep.LEDGER, upkeep.RECORDS, upkeep.COUNTS, upkeep.WORKER, MADE, COPIED, TRIED)
    for name in work:
        upkeep.remember(name=name, ok=True)
    return club
