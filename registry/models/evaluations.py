"""An evaluation is one dog examined at one clinic on one day; with its readings, flags, evidence
and
the draft it grew from. Which move leads from which state to which stands in ``moves``."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from registry.models.clocked import ClockedField
from registry.models.dogs import Dog
from registry.models.ids import random_id
from registry.models.people import Clinic, Owner, User
from registry.models.traits import Trait


class State(models.TextChoices):
    """Where an evaluation is; the moves between states stand in ``moves``."""

    SUBMITTED = "submitted", _("submitted")
    RETURNED = "returned", _("returned")
    ACCEPTED = "accepted", _("accepted")
    DECLINED = "declined", _("declined")
    REPLACED = "replaced", _("replaced")
    REVOKED = "revoked", _("revoked")
    WITHDRAWN = "withdrawn", _("withdrawn")


class Side(models.TextChoices):
    """Which side of the dog a reading is of."""

    LEFT = "left", _("left")
    RIGHT = "right", _("right")
    WHOLE = "whole", _("whole dog")


class FlagLevel(models.TextChoices):
    """A flag asks for a look, or stops acceptance without a reason."""

    LOOK = "look", _("look")
    STOP = "stop", _("stop")


class Evaluation(models.Model):
    """``corrects`` names the evaluation whose readings this one puts right; that one never counts
    again."""

    public_id = models.CharField(max_length=16, unique=True, default=random_id, editable=False)
    reference = models.CharField(_("reference"), max_length=10, unique=True)
    state = models.CharField(_("state"), max_length=10, choices=State.choices)
    dog = models.ForeignKey(Dog, on_delete=models.PROTECT, related_name="evaluations")
    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="evaluations")
    examined_on = models.DateField(_("examined on"))
    examiner = models.CharField(_("examiner"), max_length=120)
    conditions = models.JSONField(_("conditions"), default=dict)
    owner = models.ForeignKey(
        Owner, null=True, blank=True, on_delete=models.PROTECT, related_name="evaluations"
    )
    consent_to_publish = models.BooleanField(_("owner agrees to publish"), default=False)
    consent_changed_at = models.DateTimeField(null=True, blank=True)
    submitted_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="submitted")
    submitted_at = models.DateTimeField()
    decided_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="decided"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    reason = models.TextField(_("reason"), blank=True)
    fields_to_fix = models.JSONField(_("fields to fix"), default=list, blank=True)
    corrects = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    version = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = (
            models.Index(fields=("state", "submitted_at"), name="evaluation_queue"),
            models.Index(fields=("clinic", "state"), name="evaluation_clinic"),
            models.Index(fields=("dog", "state"), name="evaluation_dog"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(accepted_at__isnull=False)
                | ~Q(state__in=("accepted", "replaced", "revoked")),
                name="evaluation_accepted_has_instant",
            ),
        )

    def __str__(self) -> str:
        return self.reference


class Reading(models.Model):
    """One trait, one side, one value as a whole number of the trait's steps."""

    evaluation = models.ForeignKey(Evaluation, on_delete=models.PROTECT, related_name="readings")
    trait = models.ForeignKey(Trait, on_delete=models.PROTECT, related_name="readings")
    side = models.CharField(_("side"), max_length=5, choices=Side.choices)
    step = models.IntegerField(_("value in steps"))
    head_radius_mm = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    displacement_mm = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("evaluation", "trait", "side"), name="reading_one_per_trait_and_side"
            ),
        )

    @property
    def value(self) -> Decimal:
        """The value in the trait's unit; a grade's place for graded traits."""
        return self.step * self.trait.resolution

    @property
    def value_text(self) -> str:
        """The value in the words of its trait, without the unit."""
        return self.trait.value_text(self.step)


class Flag(models.Model):
    """What an automatic check found when the evaluation was sent. The words are made by the
    pages."""

    evaluation = models.ForeignKey(Evaluation, on_delete=models.CASCADE, related_name="flags")
    code = models.CharField(max_length=24)
    level = models.CharField(max_length=4, choices=FlagLevel.choices)
    trait = models.ForeignKey(Trait, null=True, on_delete=models.PROTECT)
    side = models.CharField(max_length=5, choices=Side.choices, blank=True)
    detail = models.JSONField(default=dict)

    class Meta:
        indexes = (models.Index(fields=("code",), name="flag_code"),)


class Draft(models.Model):
    """Answers not yet sent, in the shape of the REST body; or the answer to a returned
    evaluation."""

    public_id = models.CharField(max_length=16, unique=True, default=random_id, editable=False)
    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="drafts")
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="drafts")
    dog = models.ForeignKey(Dog, null=True, blank=True, on_delete=models.PROTECT)
    evaluation = models.ForeignKey(
        Evaluation, null=True, blank=True, on_delete=models.PROTECT, related_name="drafts"
    )
    answers = models.JSONField(default=dict)
    version = models.PositiveIntegerField(default=1)
    created_at = ClockedField(auto_now_add=True)
    updated_at = ClockedField(auto_now=True)
    sent_as = models.ForeignKey(
        Evaluation, null=True, blank=True, on_delete=models.PROTECT, related_name="sent_drafts"
    )

    class Meta:
        ordering = ("-updated_at",)


class Evidence(models.Model):
    """A file that backs a result. The bytes lie outside the web root under a random name."""

    public_id = models.CharField(max_length=16, unique=True, default=random_id, editable=False)
    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="evidence")
    draft = models.ForeignKey(
        Draft, null=True, blank=True, on_delete=models.SET_NULL, related_name="evidence"
    )
    evaluation = models.ForeignKey(
        Evaluation, null=True, blank=True, on_delete=models.PROTECT, related_name="evidence"
    )
    sha256 = models.CharField(max_length=64, db_index=True)
    size = models.PositiveBigIntegerField()
    content_type = models.CharField(max_length=40)
    original_name = models.CharField(max_length=200)
    stored_name = models.CharField(max_length=40, unique=True)
    uploaded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    uploaded_at = ClockedField(auto_now_add=True)

    class Meta:
        verbose_name_plural = "evidence"
