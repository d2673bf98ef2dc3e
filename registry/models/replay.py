"""Answers kept for repeated requests: the same Idempotency-Key gives the same answer again."""

from __future__ import annotations

from django.db import models


class ReplayKey(models.Model):
    """One key of one caller (``scope``: token or user), with the answer its first request got."""

    scope = models.CharField(max_length=40)
    key = models.CharField(max_length=255)
    route = models.CharField(max_length=120)
    body_hash = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    answer = models.JSONField(default=dict)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=("scope", "key"), name="replay_key_once"),)
        indexes = (models.Index(fields=("created_at",), name="replay_key_age"),)
