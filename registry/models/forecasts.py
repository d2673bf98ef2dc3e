"""What was forecast of a litter before it could be tested, and forecasts held against what came.

``registry.desk.forecast_keeping`` and ``forecast_outcomes`` write them with a breeding run. A kept
forecast is never changed; the run's ledger entry names its fingerprint.
"""

from __future__ import annotations

from django.db import models

from registry.models.breeding import BreedingRun
from registry.models.dogs import Breed
from registry.models.traits import Trait


class KeptForecast(models.Model):
    """The forecast of one trait for a litter, as pages showed it from ``run``.

    ``kept_in`` is the run that first held a puppy of the litter, and kept the forecast. Parents are
    named by their public ids, which lead on to the heir of a merged entry. Numbers are in the
    trait's unit: ``base`` is the record to expect of a dog with breeding value 0, ``mean`` and the
    four variances are ``registry.science.litter.Forecast``'s. No dog with a key up to ``last_dog``
    can be a puppy of it: ``run`` may have known such a dog.
    """

    kept_in = models.ForeignKey(
        BreedingRun, on_delete=models.PROTECT, related_name="kept_forecasts"
    )
    run = models.ForeignKey(BreedingRun, on_delete=models.PROTECT, related_name="+")
    breed = models.ForeignKey(Breed, on_delete=models.PROTECT, related_name="+")
    trait = models.ForeignKey(Trait, on_delete=models.PROTECT, related_name="+")
    sire = models.CharField(max_length=16)
    dam = models.CharField(max_length=16)
    born_on = models.DateField()
    last_dog = models.BigIntegerField()
    base = models.FloatField()
    mean = models.FloatField()
    parent_variance = models.FloatField()
    mendelian_variance = models.FloatField()
    litter_variance = models.FloatField()
    residual_variance = models.FloatField()
    inbreeding = models.FloatField()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("breed", "trait", "sire", "dam", "born_on"), name="kept_forecast_one"
            ),
        )

    def __str__(self) -> str:
        return f"{self.sire} × {self.dam}, {self.born_on}"


class ForecastCheck(models.Model):
    """A breed's kept forecasts of one trait against the records that ``run`` held.

    ``found`` is empty with too few puppies or litters, else what is published, rounded. ``members``
    are the puppies that were compared, packed (``registry.desk.forecast_outcomes.MEMBER``); those
    of older runs are let go.
    """

    run = models.ForeignKey(BreedingRun, on_delete=models.CASCADE, related_name="forecast_checks")
    trait = models.ForeignKey(Trait, on_delete=models.PROTECT, related_name="+")
    puppies = models.PositiveIntegerField()
    litters = models.PositiveIntegerField()
    found = models.JSONField(default=dict)
    members = models.BinaryField(default=bytes)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("run", "trait"), name="forecast_check_one_per_trait"),
        )

    def __str__(self) -> str:
        return f"{self.run_id}/{self.trait_id}"
