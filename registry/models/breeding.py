"""A breeding run as stored: one computation for one breed, what it found of each trait, and its
columns: numbers of every dog, packed. ``registry.desk.breeding`` writes them; ``registry.queries``
unpacks them. Nothing of a run is changed once it is done; only columns of old runs are let go.
"""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from registry.models.dogs import Breed
from registry.models.traits import Trait


class RunState(models.TextChoices):
    """Where a breeding run is. Waiting and running ones are open: a breed has at most one."""

    WAITING = "waiting", _("waiting")
    RUNNING = "running", _("running")
    DONE = "done", _("done")
    FAILED = "failed", _("failed")


class VariancesFrom(models.TextChoices):
    """Whether the variances were estimated from the breed's records or are the trait's prior."""

    RECORDS = "records", _("estimated from the breed's own records")
    PRIOR = "prior", _("taken from published figures")


class Reliabilities(models.TextChoices):
    """How the reliabilities of a run's breeding values were found."""

    EXACT = "exact", _("exact")
    APPROXIMATE = "approximate", _("approximate")


class BreedingRun(models.Model):
    """One computation for a breed, numbered from 1 within it.

    ``ledger_seq`` is the last ledger entry that the inputs hold, and ``other_breeds`` lists the
    keys of ancestors of another breed among them: with both, what came later can be counted
    exactly. ``claims`` counts the workers that began; the number a worker got is its proof that
    the run is still its own. ``error`` says in plain words why a run failed.
    """

    breed = models.ForeignKey(Breed, on_delete=models.PROTECT, related_name="breeding_runs")
    number = models.PositiveIntegerField()
    state = models.CharField(max_length=8, choices=RunState.choices, default=RunState.WAITING)
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    lease_until = models.DateTimeField(null=True)
    claims = models.PositiveSmallIntegerField(default=0)
    ledger_seq = models.BigIntegerField(default=0)
    other_breeds = models.JSONField(default=list)
    inputs_sha256 = models.CharField(max_length=64, blank=True)
    results_sha256 = models.CharField(max_length=64, blank=True)
    program_version = models.CharField(max_length=20, blank=True)
    dogs = models.PositiveIntegerField(default=0)
    mean_inbreeding = models.FloatField(null=True)
    error = models.TextField(blank=True)

    class Meta:
        ordering = ("breed", "number")
        constraints = (
            models.UniqueConstraint(fields=("breed", "number"), name="breeding_run_number"),
            models.UniqueConstraint(
                fields=("breed",),
                condition=Q(state__in=("waiting", "running")),
                name="breeding_run_one_open",
            ),
        )

    def __str__(self) -> str:
        return f"{self.breed_id}/{self.number}"


class TraitRun(models.Model):
    """What a run found of one trait. A trait with too few records has only its notes.

    ``base`` is the mean fixed part of the records in the breed's window, in the trait's unit: a
    dog's expected record is ``base`` plus its breeding value. ``middle`` is the median record of
    the window's tested dogs. ``notes`` lists what to know of it, each with a ``code``.
    ``clinics`` lists each clinic's difference from the mean of all records, other things equal:
    ``clinic`` (key), ``records``, ``effect`` in the trait's unit, ``se`` its standard error.
    """

    run = models.ForeignKey(BreedingRun, on_delete=models.CASCADE, related_name="traits")
    trait = models.ForeignKey(Trait, on_delete=models.PROTECT, related_name="+")
    records = models.PositiveIntegerField()
    has_values = models.BooleanField()
    additive = models.FloatField(null=True)
    litter = models.FloatField(null=True)
    residual = models.FloatField(null=True)
    additive_se = models.FloatField(null=True)
    litter_se = models.FloatField(null=True)
    residual_se = models.FloatField(null=True)
    heritability = models.FloatField(null=True)
    heritability_se = models.FloatField(null=True)
    variances_from = models.CharField(max_length=8, choices=VariancesFrom.choices, blank=True)
    method = models.CharField(max_length=12, choices=Reliabilities.choices, blank=True)
    base = models.FloatField(null=True)
    middle = models.FloatField(null=True)
    mean_reliability = models.FloatField(null=True)
    value_sd = models.FloatField(null=True)
    seconds = models.FloatField(default=0)
    notes = models.JSONField(default=list)
    trend = models.JSONField(default=dict)
    clinics = models.JSONField(default=list)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("run", "trait"), name="trait_run_one_per_trait"),
        )


class RunColumn(models.Model):
    """A column of a run: one number a dog, in ascending order of the dogs' keys, little-endian.

    Without a trait it is the pedigree's: ``dog`` (key), ``sire`` and ``dam`` (places in the column,
    -1 unknown), ``inbreeding``. With one: ``value``, ``error_variance``, ``reliability`` and
    ``record`` (not a number where the dog has none).
    """

    run = models.ForeignKey(BreedingRun, on_delete=models.CASCADE, related_name="columns")
    trait = models.ForeignKey(Trait, null=True, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=20)
    dtype = models.CharField(max_length=4)
    packed = models.BinaryField()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("run", "name"), condition=Q(trait__isnull=True), name="run_column_pedigree"
            ),
            models.UniqueConstraint(
                fields=("run", "trait", "name"),
                condition=Q(trait__isnull=False),
                name="run_column_trait",
            ),
        )
