"""A small club with something in every corner, for archives; and an instance emptied again."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from registry.desk import announce, evidence, revoke
from registry.desk.log import publish_checkpoint
from registry.ledger import triggers
from registry.models import Certificate
from tests.factories import Club, make_accepted, make_club, make_dog, make_submitted
from tests.factories import make_token as issue


def make_busy_club() -> tuple[Club, list[Certificate], str]:
    """A club with results, files, a revoked certificate, an announcement, a token (its
    secret comes back), names beyond ASCII and a signed log."""
    club = make_club()
    sire = make_dog(club, sex="M", born_on=date(2019, 3, 1), name="Tarnfold Éclair ‘Ω’")
    file = evidence.attach(
        by=club.nurse.actor, chunks=[b"%PDF-1.7 hips of Juno"], name="Juno & Éclair.pdf"
    )
    certificates = [
        make_accepted(club, sire, evidence=[file.public_id]),
        make_accepted(club, make_dog(club, sire=sire.public_id)),
        make_accepted(club, consent_to_publish=False),
    ]
    make_submitted(club, examiner="=1+1")
    for registrar in (club.second_registrar, club.registrar):
        revoke.revoke(
            by=registrar.actor,
            evaluation_id=certificates[1].evaluation.public_id,
            reason="The pictures were of another dog.",
        )
    announce.announce(
        by=club.nurse.actor, dog_id=make_dog(club).public_id, examined_on=timezone.localdate()
    )
    secret = issue(club.nurse, by=club.secretary.actor)
    publish_checkpoint()
    make_dog(club)
    publish_checkpoint()
    return club, certificates, secret


def empty_the_instance() -> None:
    """Every table as a migration leaves it, and no evidence file."""
    triggers.uninstall(connection)
    call_command("flush", verbosity=0, interactive=False)
    triggers.install(connection)
    root = Path(settings.EVIDENCE_ROOT)
    for path in root.iterdir() if root.is_dir() else ():
        path.unlink()
