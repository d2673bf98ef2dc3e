"""Tell the secretaries by mail when the registry could not be put back any more, or soon will not
be: each trouble by one mail a day at the most.

What a trouble is, is decided where it is looked at; here it is only told.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from registry.desk.mail import queue
from registry.models import Role, Upkeep, User

_BETWEEN_MAILS = timedelta(days=1)
_PREFIX = "alarm-"


def warn_secretaries(troubles: Mapping[str, str]) -> int:
    """Queue a mail to every secretary about the troubles that none was sent about today; returns
    how many mails there are. ``troubles`` are names with what is wrong, in words."""
    with transaction.atomic():
        due = [words for name, words in troubles.items() if _is_claimed(name)]
        if not due:
            return 0
        addresses = _secretaries()
        for address in addresses:
            queue(kind="alarm", to_email=address, detail={"troubles": "\n\n".join(due)})
    return len(addresses)


def _is_claimed(name: str) -> bool:
    """Whether this worker is the one to tell of it today."""
    now = timezone.now()
    _row, is_new = Upkeep.objects.get_or_create(
        name=_PREFIX + name, defaults={"at": now, "ok": False}
    )
    return is_new or bool(
        Upkeep.objects.filter(name=_PREFIX + name, at__lte=now - _BETWEEN_MAILS).update(at=now)
    )


def _secretaries() -> list[str]:
    """The mail addresses of those who hold the office now."""
    people = User.objects.filter(
        is_active=True,
        memberships__role=Role.SECRETARY,
        memberships__ended_at__isnull=True,
    )
    return sorted({email for email in people.values_list("email", flat=True) if email})
