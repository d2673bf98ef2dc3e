"""The actor of a request, made from a membership. Who may do what is asked here and nowhere
else."""

from __future__ import annotations

from typing import NamedTuple

from django.db import connection
from django.utils.translation import gettext as _

from registry.desk.errors import Refused
from registry.ledger.actor import Actor, Via
from registry.models import ApiToken, Evaluation, Membership, Role

__all__ = [
    "Actor",
    "Ties",
    "Via",
    "actor_for",
    "clinic_of",
    "person_of",
    "require_role",
    "why_not_decide",
    "why_tied",
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


class Ties(NamedTuple):
    """Whom an evaluation is tied to: who sent it, for which clinic, and the owner if known."""

    submitted_by_id: int
    clinic_id: int
    owner_user_id: int | None
    owner_email: str


def why_not_decide(by: Actor, evaluation: Evaluation) -> str:
    """Why this registrar must leave the evaluation to another one; empty when they may decide."""
    owner = evaluation.owner
    return why_tied(
        by,
        Ties(
            evaluation.submitted_by_id,
            evaluation.clinic_id,
            owner.user_id if owner else None,
            owner.email if owner else "",
        ),
    )


_ABOUT_REGISTRAR = """
    SELECT u.email, EXISTS (SELECT 1 FROM registry_membership m
        WHERE m.user_id = u.id AND m.clinic_id = %s AND m.ended_at IS NULL)
    FROM registry_user u WHERE u.id = %s
"""


def why_tied(by: Actor, ties: Ties) -> str:
    """Why the ties keep this registrar from deciding, or empty: one query.

    Nobody decides on what they submitted themselves, on a clinic they belong to, or on their own
    dog: by the owner record's own user, or by the same mail address.
    """
    if by.user_pk is None or ties.submitted_by_id == by.user_pk:
        return _("You submitted this result yourself. Another registrar has to decide.")
    with connection.cursor() as cursor:
        cursor.execute(_ABOUT_REGISTRAR, [ties.clinic_id, by.user_pk])
        email, works_there = cursor.fetchone() or ("", False)
    if works_there:
        return _("You belong to the clinic that sent this. Another registrar has to decide.")
    has_address = ties.owner_email and ties.owner_email.casefold() == email.casefold()
    if has_address or ties.owner_user_id == by.user_pk:
        return _("This is your own dog. Another registrar has to decide.")
    return ""
