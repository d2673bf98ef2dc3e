"""Remember when a piece of regular work last ended, and how, so that its age can be told.

It is no record of the club, so there is no ledger entry; and the work itself has been done, so a
database that cannot take the note is no reason to say otherwise.
"""

from __future__ import annotations

import logging
from typing import Any

from django.db import DatabaseError, transaction
from django.utils import timezone

from registry.models import Upkeep

logger = logging.getLogger(__name__)

WORKER = "worker"
LEDGER = "verify-ledger"
RECORDS = "verify-records"
COUNTS = "counts"


def remember(*, name: str, ok: bool, detail: dict[str, Any] | None = None) -> bool:
    """Write down that the work ended now; False when the database could not take the note."""
    facts = {"at": timezone.now(), "ok": ok, "detail": detail or {}}
    try:
        with transaction.atomic():
            Upkeep.objects.update_or_create(name=name, defaults=facts)
    except DatabaseError:
        logger.warning("upkeep: the end of %s could not be noted", name)
        return False
    return True
