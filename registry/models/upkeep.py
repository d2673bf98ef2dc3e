"""When regular work last ended and how: the worker's rounds, verifications, slow examinations.

One row a piece of work, written anew each time; nothing is decided by it, and losing it costs
nothing but the knowledge of when.
"""

from __future__ import annotations

from django.db import models


class Upkeep(models.Model):
    """The last end of one piece of work. ``detail`` holds its numbers, or what it found."""

    name = models.CharField(max_length=60, primary_key=True)
    at = models.DateTimeField()
    ok = models.BooleanField()
    detail = models.JSONField(default=dict)

    def __str__(self) -> str:
        return self.name
