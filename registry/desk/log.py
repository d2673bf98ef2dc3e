"""Publish the public log: sign the ledger's tree as it stands, and mail the day's checkpoint.

Nothing of an entry's words leaves the registry here: a checkpoint is a count and a hash.
"""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.db import transaction

from registry import clock
from registry.desk.mail import queue
from registry.ledger import tree
from registry.ledger.checkpoints import Checkpoint
from registry.ledger.keys import signer
from registry.ledger.tiles import fill_tiles, stored_nodes
from registry.models import LedgerHead, LogCheckpoint

_BETWEEN = timedelta(hours=1)
_BETWEEN_MAILS = timedelta(hours=24)


class HistoryDiffersError(Exception):
    """The ledger no longer continues what the last checkpoint stated; nothing was signed."""


def publish_checkpoint() -> LogCheckpoint | None:
    """Sign the tree of all entries there are; None for an empty ledger.

    Returns the last checkpoint when nothing was added since. Raises HistoryDiffersError when the
    tree does not continue it: then somebody must look (``manage.py verify_ledger``).
    """
    size = LedgerHead.objects.values_list("seq", flat=True).get()
    last = LogCheckpoint.objects.last()
    if size == 0 or (last is not None and last.size == size):
        return last
    fill_tiles(size)
    nodes = stored_nodes()
    if last is not None and (last.size > size or tree.root(nodes, last.size).hex() != last.root):
        raise HistoryDiffersError(
            f"The entries up to {last.size} are not those the last checkpoint was signed for."
        )
    root = tree.root(nodes, size)
    note = signer().sign(Checkpoint(settings.LOG_ORIGIN, size, root).text)
    # Two at once sign the same tree of the same size; Ed25519 gives them the same note.
    made, _is_new = LogCheckpoint.objects.get_or_create(
        size=size, defaults={"root": root.hex(), "note": note, "made_at": clock.now()}
    )
    return made


def publish_when_due() -> LogCheckpoint | None:
    """Publish when the last checkpoint is an hour old, and mail one a day; None if neither was
    due."""
    now = clock.now()
    last = LogCheckpoint.objects.last()
    if last is not None and last.made_at > now - _BETWEEN:
        return None
    made = publish_checkpoint()
    if made is not None:
        _mail_when_due(made)
    return made if made != last else None


def _mail_when_due(checkpoint: LogCheckpoint) -> None:
    now = clock.now()
    mailed = LogCheckpoint.objects.filter(mailed_at__isnull=False)
    before = mailed.last()
    if before == checkpoint or mailed.filter(mailed_at__gt=now - _BETWEEN_MAILS).exists():
        return
    with transaction.atomic():
        claimed = LogCheckpoint.objects.filter(pk=checkpoint.pk, mailed_at__isnull=True)
        if not claimed.update(mailed_at=now):
            return
        since = before.size if before is not None else 0
        for officer in settings.LOG_OFFICERS:
            queue(
                kind="checkpoint",
                to_email=officer,
                detail={"size": str(checkpoint.size), "since": str(since)},
            )
