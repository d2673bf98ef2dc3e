"""A registrar's wish that another registrar has to confirm before it is done."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from registry.models.evaluations import Evaluation
from registry.models.ids import random_id
from registry.models.people import User


class SecondDeed(models.TextChoices):
    """What is not done by one pair of eyes."""

    ACCEPT = "accept", _("approve although a check says stop")
    REVOKE = "revoke", _("revoke")


class SecondLook(models.Model):
    """``settled_at`` is when another registrar carried it out, or when it was dropped."""

    public_id = models.CharField(max_length=16, unique=True, default=random_id, editable=False)
    evaluation = models.ForeignKey(
        Evaluation, on_delete=models.PROTECT, related_name="second_looks"
    )
    deed = models.CharField(max_length=8, choices=SecondDeed.choices)
    reason = models.TextField()
    asked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    settled_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    settled_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("asked_at",)
        constraints = (
            models.UniqueConstraint(
                fields=("evaluation", "deed"),
                condition=Q(settled_at__isnull=True),
                name="second_look_one_open",
            ),
        )
