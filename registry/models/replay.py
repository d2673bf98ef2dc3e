"""Answers kept for repeated requests: the same Idempotency-Key gives the same answer again."""

from __future__ import annotations

from django.db import models


class ReplayKey(models.Model):
    """``scope`` is the caller (token or user); ``status`` is null while the deed still runs."""

    scope = models.CharField(max_length=40)
    key = models.CharField(max_length=255)
    route = models.CharField(max_length=120)
    body_hash = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    answer = models.JSONField(default=dict)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=("scope", "key"), name="replay_key_once"),)
        indexes = (models.Index(fields=("created_at",), name="replay_key_age"),)
