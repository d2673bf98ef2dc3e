"""What is looked at in an examination. A club adds a trait as a row; no code knows a trait by
name."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Kind(models.TextChoices):
    """A number with a unit, or one of ordered grades."""

    MEASURED = "measured", _("measured")
    GRADED = "graded", _("graded")


class Better(models.TextChoices):
    """Which end of the scale is better."""

    LOWER = "lower", _("lower is better")
    HIGHER = "higher", _("higher is better")


def better_steps(kind: str, better: str) -> Literal["lower", "higher"]:
    """Which end of the steps is better: grades are stored best first, so fewer steps are."""
    return "lower" if kind == Kind.GRADED or better == Better.LOWER else "higher"


class Trait(models.Model):
    """One trait. A value is a whole number of steps: measured = step x resolution, graded = place
    in
    ``grades``, which are ordered from best to worst."""

    slug = models.SlugField(max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=80)
    kind = models.CharField(_("kind"), max_length=8, choices=Kind.choices)
    unit = models.CharField(_("unit"), max_length=12, blank=True)
    resolution = models.DecimalField(
        _("resolution"), max_digits=8, decimal_places=4, default=Decimal(1)
    )
    lowest = models.DecimalField(_("lowest plausible value"), max_digits=9, decimal_places=4)
    highest = models.DecimalField(_("highest plausible value"), max_digits=9, decimal_places=4)
    is_per_side = models.BooleanField(_("read on each side"), default=True)
    better = models.CharField(_("better end"), max_length=6, choices=Better.choices)
    better_word = models.CharField(_("word for the better end"), max_length=30)
    worse_word = models.CharField(_("word for the other end"), max_length=30)
    joint = models.CharField(_("joint"), max_length=20)
    minimum_age_days = models.PositiveIntegerField(_("youngest age in days"), default=0)
    grades = models.JSONField(_("grades, best first"), default=list, blank=True)
    guidance = models.JSONField(_("guidance points"), default=list, blank=True)
    side_difference = models.DecimalField(
        _("unusual difference of the sides"), max_digits=8, decimal_places=4, null=True, blank=True
    )
    from_radius = models.BooleanField(
        _("computed from head radius and displacement"), default=False
    )
    is_counted = models.BooleanField(_("enters the distributions"), default=True)
    # Published shares of the variance, for breeds with too few records of their own; the sources
    # stand in ``sources``.
    heritability_prior = models.DecimalField(
        _("published heritability"), max_digits=4, decimal_places=3, null=True, blank=True
    )
    litter_share_prior = models.DecimalField(
        _("published share of the litter"), max_digits=4, decimal_places=3, null=True, blank=True
    )
    # For a register with too few repeat examinations of its own.
    within_dog_sd = models.DecimalField(
        _("published standard deviation within a dog"),
        max_digits=9,
        decimal_places=5,
        null=True,
        blank=True,
    )
    within_dog_source = models.CharField(_("source of it"), max_length=200, blank=True)
    position = models.PositiveSmallIntegerField(_("order on pages"), default=0)
    sources = models.JSONField(_("sources of the rules"), default=dict, blank=True)

    class Meta:
        ordering = ("position", "slug")
        constraints = (
            models.CheckConstraint(condition=Q(resolution__gt=0), name="trait_resolution_positive"),
            models.CheckConstraint(
                condition=Q(lowest__lte=models.F("highest")), name="trait_range_ordered"
            ),
            models.CheckConstraint(
                condition=Q(heritability_prior__isnull=True)
                | Q(heritability_prior__gt=0, heritability_prior__lt=1),
                name="trait_heritability_prior_is_share",
            ),
            models.CheckConstraint(
                condition=Q(litter_share_prior__isnull=True)
                | Q(litter_share_prior__gte=0, litter_share_prior__lt=1),
                name="trait_litter_prior_is_share",
            ),
            models.CheckConstraint(
                condition=Q(within_dog_sd__isnull=True, within_dog_source="")
                | (Q(within_dog_sd__gt=0, kind=Kind.MEASURED) & ~Q(within_dog_source="")),
                name="trait_within_dog_sd_has_source",
            ),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def is_graded(self) -> bool:
        """Whether the values are grades."""
        return self.kind == Kind.GRADED

    @property
    def better_steps(self) -> Literal["lower", "higher"]:
        """Which end of the steps is better: grades are stored best first, so fewer steps are."""
        return better_steps(self.kind, self.better)

    def tidy(self, value: Decimal) -> Decimal:
        """The value with as many decimals as the resolution has, however the database keeps it."""
        exponent = self.resolution.normalize().as_tuple().exponent
        return value.quantize(Decimal(1).scaleb(min(int(exponent), 0)))

    def value_text(self, step: int) -> str:
        """A step in the words of the trait: ``0.31``, ``104.5``, ``B``; without the unit."""
        if self.is_graded:
            return str(self.grades[step])
        return str(self.tidy(step * self.resolution))

    def worst(self, steps: list[int]) -> int:
        """The step that speaks for the dog: the worse side's."""
        return max(steps) if self.better_steps == "lower" else min(steps)
