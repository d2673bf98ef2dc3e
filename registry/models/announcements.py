"""An announcement says that a dog will be examined, before anybody knows the result. Nothing about
the result itself is kept here."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from registry.models.dogs import Dog
from registry.models.evaluations import Evaluation
from registry.models.ids import random_id
from registry.models.people import Clinic, User


class Announcement(models.Model):
    """Open until its ``evaluation`` is sent in, or until it is withdrawn with a public reason."""

    public_id = models.CharField(max_length=16, unique=True, default=random_id, editable=False)
    reference = models.CharField(_("reference"), max_length=10, unique=True)
    dog = models.ForeignKey(Dog, on_delete=models.PROTECT, related_name="announcements")
    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="announcements")
    examined_on = models.DateField(_("day of the examination"))
    announced_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    announced_at = models.DateTimeField()
    evaluation = models.OneToOneField(
        Evaluation, null=True, blank=True, on_delete=models.PROTECT, related_name="announcement"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    reason = models.TextField(_("reason"), blank=True)

    class Meta:
        indexes = (models.Index(fields=("dog", "clinic"), name="announcement_dog_clinic"),)
        constraints = (
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True) | Q(evaluation__isnull=True),
                name="announcement_answered_or_withdrawn",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True) | ~Q(reason=""),
                name="announcement_withdrawn_with_reason",
            ),
        )

    def __str__(self) -> str:
        return self.reference

    @property
    def is_open(self) -> bool:
        """Whether neither a result nor a withdrawal has come."""
        return self.evaluation_id is None and self.withdrawn_at is None
