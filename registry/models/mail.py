"""Mail that waits to be sent. It is written with the change that causes it and never decides
anything."""

from __future__ import annotations

from django.db import models

from registry.models.clocked import ClockedField
from registry.models.evaluations import Evaluation


class OutboxMail(models.Model):
    """One mail. The text is made when it is sent, so no private link lies in the database. A mail
    about the public log has no evaluation."""

    kind = models.CharField(max_length=24)
    to_email = models.EmailField()
    evaluation = models.ForeignKey(Evaluation, null=True, on_delete=models.PROTECT)
    detail = models.JSONField(default=dict)
    created_at = ClockedField(auto_now_add=True)
    claimed_at = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = (
            models.Index(
                fields=("created_at",),
                condition=models.Q(sent_at__isnull=True),
                name="outbox_waiting",
            ),
        )
