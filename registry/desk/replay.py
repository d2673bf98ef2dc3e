"""Do a deed once per Idempotency-Key: the same key and body get the same answer, another body is
refused.

The key is claimed in the deed's own transaction: a request that was killed leaves neither deed nor
key, and
a second request with the key waits for the first and then gets its answer.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any, NamedTuple

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from registry.desk.errors import KeyReused
from registry.models import ReplayKey

KEPT_FOR = timedelta(days=30)
# Never seen by anybody: the row becomes visible only with the deed's commit.
_RUNNING = 0


class Answer(NamedTuple):
    """An HTTP status and a JSON body; ``is_replay`` when the deed was done by an earlier
    request."""

    status: int
    body: dict[str, Any]
    is_replay: bool = False


def once(*, scope: str, key: str, route: str, body_hash: str, deed: Callable[[], Answer]) -> Answer:
    """Run the deed unless the key was used; raises KeyReused when the body or route differs.

    An error of the deed is not kept: nothing was written, so the corrected request may use the key
    again.
    """
    if (known := _known(scope, key)) is not None:
        return _again(known, route, body_hash)
    try:
        with transaction.atomic():
            row = ReplayKey.objects.create(
                scope=scope, key=key, route=route, body_hash=body_hash, status=_RUNNING
            )
            answer = deed()
            row.status, row.answer = answer.status, answer.body
            row.save(update_fields=["status", "answer"])
            return answer
    except IntegrityError:
        # Another request claimed the key in between; if not, the error is the deed's own.
        known = _known(scope, key)
        if known is None:
            raise
        return _again(known, route, body_hash)


def forget_old_keys() -> int:
    """Drop keys past their time; returns how many."""
    return ReplayKey.objects.filter(created_at__lt=timezone.now() - KEPT_FOR).delete()[0]


def _known(scope: str, key: str) -> ReplayKey | None:
    return ReplayKey.objects.filter(scope=scope, key=key).first()


def _again(known: ReplayKey, route: str, body_hash: str) -> Answer:
    if (known.route, known.body_hash) != (route, body_hash):
        raise KeyReused(_("This Idempotency-Key was used with another request. Use a new key."))
    return Answer(known.status, known.answer, is_replay=True)
