"""Breeds, dogs with their parents, and what merged entries of dogs were known by. A dog's public
data only: no person is named here."""

from __future__ import annotations

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from registry.models.clocked import ClockedField
from registry.models.ids import random_id


class Sex(models.TextChoices):
    """A dog's sex."""

    FEMALE = "F", _("female")
    MALE = "M", _("male")


class Breed(models.Model):
    """``window_history`` lists earlier windows as ``{"until": ISO instant, "months": n}``, oldest
    first, so
    that a past date is answered with the window that was in force then."""

    name = models.CharField(_("name"), max_length=80, unique=True)
    slug = models.SlugField(max_length=80, unique=True)
    window_months = models.PositiveSmallIntegerField(_("rolling window in months"), default=120)
    window_history = models.JSONField(default=list, blank=True, editable=False)
    requires_announcement_from = models.DateField(
        _("examinations have to be announced from"), null=True, blank=True
    )

    class Meta:
        ordering = ("name",)
        constraints = (
            models.CheckConstraint(
                condition=Q(window_months__gte=1), name="breed_window_one_month"
            ),
        )

    def __str__(self) -> str:
        return self.name


class Dog(models.Model):
    """A dog of the breed, tested or not. ``is_confirmed`` is false until a registrar has looked."""

    public_id = models.CharField(max_length=16, unique=True, default=random_id, editable=False)
    breed = models.ForeignKey(Breed, on_delete=models.PROTECT, related_name="dogs")
    name = models.CharField(_("registered name"), max_length=120)
    call_name = models.CharField(_("call name"), max_length=40, blank=True)
    sex = models.CharField(_("sex"), max_length=1, choices=Sex.choices)
    born_on = models.DateField(_("born on"))
    died_on = models.DateField(_("died on"), null=True, blank=True)
    colour = models.CharField(_("colour"), max_length=60, blank=True)
    chip = models.CharField(
        _("chip number"),
        max_length=15,
        unique=True,
        null=True,
        blank=True,
        validators=[RegexValidator(r"^[0-9]{15}$")],
    )
    studbook_number = models.CharField(_("studbook number"), max_length=40, blank=True)
    sire = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="sired"
    )
    dam = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="whelped"
    )
    is_confirmed = models.BooleanField(_("confirmed by a registrar"), default=True)
    search_name = models.CharField(max_length=200, editable=False, default="")
    created_at = ClockedField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(died_on__isnull=True) | Q(died_on__gte=F("born_on")),
                name="dog_dies_after_birth",
            ),
        )
        indexes = (
            models.Index(fields=("dam", "born_on"), name="dog_litter"),
            models.Index(fields=("studbook_number",), name="dog_studbook"),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def short_name(self) -> str:
        """What people call the dog: the call name where there is one."""
        return self.call_name or self.name


class DogAlias(models.Model):
    """What an entry that was merged into ``dog`` was known by: its old links lead to that dog, and
    its chip finds it and cannot be registered again. ``chip`` is null where the dog took it over
    or the entry had none."""

    dog = models.ForeignKey(Dog, on_delete=models.PROTECT, related_name="aliases")
    public_id = models.CharField(max_length=16, unique=True)
    chip = models.CharField(
        _("chip number"),
        max_length=15,
        unique=True,
        null=True,
        blank=True,
        validators=[RegexValidator(r"^[0-9]{15}$")],
    )
    merged_at = ClockedField(auto_now_add=True)

    class Meta:
        verbose_name_plural = "dog aliases"

    def __str__(self) -> str:
        return self.public_id
