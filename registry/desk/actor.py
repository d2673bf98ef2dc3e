"""The actor of a request, made from a membership. Who may do what is asked here and nowhere
else."""

from __future__ import annotations

from django.utils.translation import gettext as _

from registry.desk.errors import Refused
from registry.ledger.actor import Actor, Via
from registry.models import ApiToken, Evaluation, Membership, Owner, Role, User

__all__ = [
    "Actor",
    "Via",
    "actor_for",
    "clinic_of",
    "person_of",
    "require_role",
    "why_not_decide",
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


def why_not_decide(by: Actor, evaluation: Evaluation) -> str:
    """Why this registrar must leave the evaluation to another one; empty when they may decide.

    Nobody decides on what they submitted themselves, on a clinic they belong to, or on their own
    dog.
    """
    if by.user_pk is None or evaluation.submitted_by_id == by.user_pk:
        return _("You submitted this result yourself. Another registrar has to decide.")
    works_there = Membership.objects.filter(
        user_id=by.user_pk, clinic_id=evaluation.clinic_id, ended_at__isnull=True
    ).exists()
    if works_there:
        return _("You belong to the clinic that sent this. Another registrar has to decide.")
    if evaluation.owner is not None and _is_owner(by.user_pk, evaluation.owner):
        return _("This is your own dog. Another registrar has to decide.")
    return ""


def _is_owner(user_pk: int, owner: Owner) -> bool:
    """By the owner record's own user, or by the same mail address."""
    if owner.user_id == user_pk:
        return True
    return bool(owner.email) and User.objects.filter(pk=user_pk, email__iexact=owner.email).exists()
