"""The breed's counts: which value of which dog counted from when until when, the monthly cells that
sum them, and the packed histograms that answer a request; and what of all this the public may see
at which moment. All are written in one transaction."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from registry.models.dogs import Breed, Dog, Sex
from registry.models.evaluations import Evaluation
from registry.models.traits import Trait


class CountedValue(models.Model):
    """One dog's value of one trait in the counts from ``counted_from`` until before
    ``counted_until``.

    What everybody may see of the counts holds it from ``public_from`` until before
    ``public_until``. Empty means: it waits for others to come in, or to go, with. A released value
    knows beforehand when the window leaves it behind, so ``public_until`` may lie ahead; an instant
    that has passed never changes. ``came_in_group`` and ``left_in_group`` say that it was withheld
    then, and moved together with others.
    """

    breed = models.ForeignKey(Breed, on_delete=models.PROTECT)
    trait = models.ForeignKey(Trait, on_delete=models.PROTECT)
    sex = models.CharField(max_length=1, choices=Sex.choices)
    dog = models.ForeignKey(Dog, on_delete=models.PROTECT, related_name="counted_values")
    evaluation = models.ForeignKey(
        Evaluation, on_delete=models.PROTECT, related_name="counted_values"
    )
    month = models.DateField()
    step = models.IntegerField()
    counted_from = models.DateTimeField()
    counted_until = models.DateTimeField(null=True)
    public_from = models.DateTimeField(null=True)
    public_until = models.DateTimeField(null=True)
    came_in_group = models.BooleanField(default=False, db_default=False)
    left_in_group = models.BooleanField(default=False, db_default=False)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("dog", "trait"),
                condition=Q(counted_until__isnull=True),
                name="counted_value_one_per_dog_and_trait",
            ),
            models.CheckConstraint(
                condition=Q(counted_until__isnull=True) | Q(counted_until__gte=F("counted_from")),
                name="counted_value_interval_ordered",
            ),
            models.CheckConstraint(
                condition=Q(public_until__isnull=True) | Q(public_until__gte=F("public_from")),
                name="counted_value_public_interval_ordered",
            ),
        )
        indexes = (
            models.Index(fields=("breed", "trait", "counted_from"), name="counted_value_as_of"),
            models.Index(
                fields=("breed", "trait", "sex", "month"),
                condition=Q(public_from__isnull=True, counted_until__isnull=True),
                name="counted_value_waits_to_come",
            ),
            models.Index(
                fields=("breed", "trait", "sex", "month"),
                condition=Q(public_from__isnull=False, public_until__isnull=True),
                name="counted_value_stays",
            ),
            models.Index(
                fields=("breed", "trait", "sex"),
                condition=Q(
                    public_from__isnull=False,
                    public_until__isnull=True,
                    counted_until__isnull=False,
                ),
                name="counted_value_waits_to_go",
            ),
        )


class DistributionCell(models.Model):
    """Dogs of a breed and sex whose counting value, examined in ``month``, is ``step``."""

    breed = models.ForeignKey(Breed, on_delete=models.PROTECT)
    trait = models.ForeignKey(Trait, on_delete=models.PROTECT)
    sex = models.CharField(max_length=1, choices=Sex.choices)
    month = models.DateField()
    step = models.IntegerField()
    dogs = models.IntegerField()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("breed", "trait", "sex", "month", "step"), name="distribution_cell_key"
            ),
            models.CheckConstraint(condition=Q(dogs__gte=0), name="distribution_cell_not_negative"),
        )


class StoredHistogram(models.Model):
    """The counts of one breed, trait and sex over the window that ends with ``last_month``, packed
    by
    ``registry.science.distribution``. A reader who finds an older month sums the cells instead."""

    breed = models.ForeignKey(Breed, on_delete=models.PROTECT)
    trait = models.ForeignKey(Trait, on_delete=models.PROTECT)
    sex = models.CharField(max_length=1, choices=Sex.choices)
    last_month = models.DateField()
    window_months = models.PositiveSmallIntegerField()
    packed = models.BinaryField()
    dogs = models.PositiveIntegerField()
    changed_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("breed", "trait", "sex"), name="stored_histogram_key"),
        )


class PublicState(models.Model):
    """What everybody may see of a breed's counts of one trait, packed: females and males as of
    ``at``, and as of ``next_at`` once that instant has come.

    ``settled_month`` is the month whose window the packed counts were brought to; a reader who
    finds an earlier one sums the counted values instead.
    """

    breed = models.ForeignKey(Breed, on_delete=models.PROTECT)
    trait = models.ForeignKey(Trait, on_delete=models.PROTECT)
    settled_month = models.DateField()
    at = models.DateTimeField(null=True)
    females = models.BinaryField()
    males = models.BinaryField()
    next_at = models.DateTimeField(null=True)
    next_females = models.BinaryField(null=True)
    next_males = models.BinaryField(null=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=("breed", "trait"), name="public_state_key"),)
