"""Who uses the registry and for whom: users, clinics, memberships, API tokens, and dogs' owners.

Personal data stands only here, apart from the dogs' public data, so that a person can be erased
without
touching a result. What a person may do follows from an unended membership and from nothing else.
"""

from __future__ import annotations

from typing import ClassVar

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext_lazy as _

from registry.models.clocked import ClockedField
from registry.models.ids import random_id


class Role(models.TextChoices):
    """What a person does for the club."""

    CLINIC = "clinic", _("clinic staff")
    REGISTRAR = "registrar", _("registrar")
    SECRETARY = "secretary", _("secretary")


class User(AbstractUser):
    """A person who signs in. ``subject_id`` stands for the person in the ledger, never the name."""

    first_name = None  # type: ignore[assignment]
    last_name = None  # type: ignore[assignment]
    full_name = models.CharField(_("full name"), max_length=120, blank=True)
    subject_id = models.CharField(max_length=16, unique=True, default=random_id, editable=False)
    # A new stamp ends every session of the person at once.
    session_stamp = models.CharField(max_length=16, default=random_id, editable=False)

    REQUIRED_FIELDS: ClassVar[list[str]] = ["email"]

    def __str__(self) -> str:
        return self.full_name or self.username

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """What a session must carry to hold: made of the password and the stamp."""
        salt = "registry.models.people.session"
        value = f"{self.password}|{self.session_stamp}"
        return salted_hmac(salt, value, secret=secret, algorithm="sha256").hexdigest()

    def get_full_name(self) -> str:
        """The full name, for Django's own pages."""
        return self.full_name

    def get_short_name(self) -> str:
        """What to call the person on a page."""
        return self.full_name or self.username


class Clinic(models.Model):
    """A clinic that sends results. Its mail address gets the decisions."""

    public_id = models.CharField(max_length=16, unique=True, default=random_id, editable=False)
    name = models.CharField(_("name"), max_length=120, unique=True)
    town = models.CharField(_("town"), max_length=80, blank=True)
    email = models.EmailField(_("mail address for decisions"), blank=True)
    is_active = models.BooleanField(_("may submit"), default=True)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Membership(models.Model):
    """One role of one person, from a day on until it is ended. A clinic role names its clinic."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(_("role"), max_length=12, choices=Role.choices)
    clinic = models.ForeignKey(
        Clinic, null=True, blank=True, on_delete=models.PROTECT, related_name="memberships"
    )
    started_at = ClockedField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=(
                    Q(role=Role.CLINIC, clinic__isnull=False)
                    | (~Q(role=Role.CLINIC) & Q(clinic__isnull=True))
                ),
                name="membership_clinic_role_names_its_clinic",
            ),
            # Two constraints, since a null clinic never equals another null clinic.
            models.UniqueConstraint(
                fields=("user", "clinic"),
                condition=Q(ended_at__isnull=True, clinic__isnull=False),
                name="membership_one_unended_per_clinic",
            ),
            models.UniqueConstraint(
                fields=("user", "role"),
                condition=Q(ended_at__isnull=True, clinic__isnull=True),
                name="membership_one_unended_per_role",
            ),
        )

    def __str__(self) -> str:
        return f"{self.user} · {self.get_role_display()}"


class ApiToken(models.Model):
    """A program's key: only its SHA-256 digest is kept. It dies with its membership."""

    name = models.CharField(_("what it is for"), max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    prefix = models.CharField(max_length=8)
    membership = models.ForeignKey(Membership, on_delete=models.PROTECT, related_name="tokens")
    scopes = models.JSONField(default=list)
    created_at = ClockedField(auto_now_add=True)
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-created_at",)

    def __str__(self) -> str:
        return f"{self.name} ({self.prefix}…)"


class Owner(models.Model):
    """Whose dog it was on the day of an examination: how to reach them, and nothing about the
    dog."""

    public_id = models.CharField(max_length=16, unique=True, default=random_id, editable=False)
    full_name = models.CharField(_("full name"), max_length=120)
    email = models.EmailField(_("mail address"), blank=True)
    user = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="owner_records"
    )
    created_at = ClockedField(auto_now_add=True)
    erased_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.full_name
