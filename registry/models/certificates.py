"""What the club issues for an accepted evaluation. Whether it is current follows from the
evaluation."""

from __future__ import annotations

from django.db import models

from registry.models.evaluations import Evaluation


class Certificate(models.Model):
    """``standing`` keeps, per trait slug, the standing as issued: the dog's step, better, equal and
    worse dogs, how many others there were, first and last month of the window. It never changes;
    older ones hold the dog itself among its equals and in ``n``. ``status_place`` is its bit in the
    public status lists, random within its list."""

    number = models.CharField(max_length=10, unique=True)
    evaluation = models.OneToOneField(
        Evaluation, on_delete=models.PROTECT, related_name="certificate"
    )
    issued_at = models.DateTimeField()
    standing = models.JSONField(default=dict)
    status_place = models.PositiveIntegerField(unique=True)

    def __str__(self) -> str:
        return self.number
