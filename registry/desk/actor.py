"""The actor of a request, made from a membership, and what its role may do. Whom an own interest
keeps from deciding is asked in ``ties``."""

from __future__ import annotations

from django.utils.translation import gettext as _

from registry.desk.errors import Refused
from registry.ledger.actor import Actor, Via
from registry.models import ApiToken, Membership, Role

__all__ = [
    "Actor",
    "Via",
    "actor_for",
    "clinic_of",
    "person_of",
    "require_role",
]


def actor_for(
    membership: Membership, *, via: Via, request_id: str = "", token: ApiToken | None = None
) -> Actor:
    """The actor of an unended membership; its user and clinic should be loaded already."""
    clinic = membership.clinic
    return Actor(
        user_pk=membership.user_id,
        subject_id=membership.user.subject_id,
        role=Role(membership.role),
        via=via,
        clinic_pk=clinic.pk if clinic else None,
        clinic_id=clinic.public_id if clinic else "",
        token_id=token.prefix if token else "",
        request_id=request_id,
    )


def require_role(by: Actor, *roles: Role) -> None:
    """Raise Refused unless the actor acts in one of the roles."""
    if by.role not in roles:
        words = _(" or ").join(str(role.label) for role in roles)
        raise Refused(_("Only a %(role)s can do this.") % {"role": words})


def clinic_of(by: Actor) -> int:
    """The primary key of the clinic the actor works for; raises Refused for anybody else."""
    require_role(by, Role.CLINIC)
    if by.clinic_pk is None:
        raise Refused(_("Only a clinic's own staff can do this."))
    return by.clinic_pk


def person_of(by: Actor) -> int:
    """The primary key of the person acting; raises Refused for the system itself."""
    if by.user_pk is None:
        raise Refused(_("Only a person can do this."))
    return by.user_pk
