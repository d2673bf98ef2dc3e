"""The breed's counts: which value of which dog counted from when until when, the monthly cells that
sum
them, and the packed histogram that answers a request. All three are written in one transaction."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from registry.models.dogs import Breed, Dog, Sex
from registry.models.evaluations import Evaluation
from registry.models.traits import Trait


class CountedValue(models.Model):
    """One dog's value of one trait in the counts from ``counted_from`` until before
    ``counted_until``."""

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
        )
        indexes = (
            models.Index(fields=("breed", "trait", "counted_from"), name="counted_value_as_of"),
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
