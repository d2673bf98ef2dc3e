"""Who has a second step at the sign-in, and who must."""

from __future__ import annotations

from allauth.mfa.models import Authenticator
from django.db.models import Exists, OuterRef, QuerySet

from registry.models import Membership, Role, User

NEEDS_SECOND_STEP = frozenset({Role.REGISTRAR, Role.SECRETARY})
_STEPS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)


def has_second_step(user: User) -> bool:
    """Whether a passkey or an authenticator app is in use; recovery codes alone are none."""
    return bool(Authenticator.objects.filter(user=user, type__in=_STEPS).exists())


def lacks_second_step(user: User) -> bool:
    """Whether a role of the person needs a second step that is not there."""
    needing = user.memberships.filter(ended_at__isnull=True, role__in=NEEDS_SECOND_STEP)
    return needing.exists() and not has_second_step(user)


def people_without() -> QuerySet[User]:
    """Everybody in a role that needs a second step who has none: their room is closed to them."""
    steps = Authenticator.objects.filter(user=OuterRef("pk"), type__in=_STEPS)
    needing = Membership.objects.filter(
        user=OuterRef("pk"), ended_at__isnull=True, role__in=NEEDS_SECOND_STEP
    )
    found = User.objects.filter(Exists(needing), ~Exists(steps), is_active=True)
    return found.order_by("full_name", "pk")
