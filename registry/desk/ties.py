"""Why a registrar must leave a result to another one: their own submission, clinic or dog, or a dog
whose close family is theirs. Every deed and every page asks here.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping
from enum import StrEnum

from django.db import connection
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from registry.desk.actor import Actor
from registry.desk.errors import Refused
from registry.models import Evaluation

logger = logging.getLogger(__name__)


class Tie(StrEnum):
    """What ties a registrar to a result, the plainest first."""

    SUBMISSION = "own submission"
    CLINIC = "own clinic"
    DOG = "own dog"
    FAMILY = "own dog's family"


_NOT_YOURS_TO_CHANGE = _(
    "A result of this dog, or of a parent, litter mate or offspring of it, names you as the owner."
    " Somebody else has to change its parents, birth date, breed or sex."
)
_SENTENCES: Mapping[Tie, Promise] = {
    Tie.SUBMISSION: _("You submitted this result yourself. Another registrar has to decide."),
    Tie.CLINIC: _("You belong to the clinic that sent this. Another registrar has to decide."),
    Tie.DOG: _("This is your own dog. Another registrar has to decide."),
    Tie.FAMILY: _(
        "A result of this dog, or of a parent, litter mate or offspring of it, names you as the"
        " owner. Another registrar has to decide."
    ),
}

# Owners stand at examinations, so a dog's owners are those of all its results, whatever became of
# them. The family comes first and its owners after: a registrar's own records cannot be looked up
# by address without reading them all. Litter mates share both parents and the day of birth.
_IS_FAMILY = """
    EXISTS (
        SELECT 1 FROM (
            SELECT d.id AS dog_id
            UNION ALL SELECT d.sire_id
            UNION ALL SELECT d.dam_id
            UNION ALL SELECT y.id FROM registry_dog y WHERE y.sire_id = d.id
            UNION ALL SELECT y.id FROM registry_dog y WHERE y.dam_id = d.id
            UNION ALL SELECT l.id FROM registry_dog l
                WHERE l.dam_id = d.dam_id AND l.born_on = d.born_on AND l.sire_id = d.sire_id
        ) kin
        JOIN registry_evaluation f ON f.dog_id = kin.dog_id
        JOIN registry_owner k ON k.id = f.owner_id
        WHERE k.user_id = u.id OR (k.email <> '' AND LOWER(k.email) = LOWER(u.email)))
"""
_TIES = f"""
    SELECT e.id, e.submitted_by_id = u.id,
        EXISTS (SELECT 1 FROM registry_membership m
            WHERE m.user_id = u.id AND m.clinic_id = e.clinic_id AND m.ended_at IS NULL),
        o.user_id, COALESCE(o.email, ''), u.email,
        {_IS_FAMILY}
    FROM registry_evaluation e
    JOIN registry_dog d ON d.id = e.dog_id
    JOIN registry_user u ON u.id = %s
    LEFT JOIN registry_owner o ON o.id = e.owner_id
    WHERE e.id IN
"""  # noqa: S608 - a constant of this module
_OWNS_FAMILY = f"""
    SELECT 1 FROM registry_dog d JOIN registry_user u ON u.id = %s WHERE d.id = %s AND {_IS_FAMILY}
"""  # noqa: S608 - a constant of this module


def ties_of(by: Actor, evaluation_pks: Iterable[int]) -> dict[int, Tie]:
    """Of these evaluations, by primary key, those the registrar is tied to: one query.

    Nobody but a person decides, so to the system itself all are its own.
    """
    wanted = list(evaluation_pks)
    if by.user_pk is None or not wanted:
        return dict.fromkeys(wanted, Tie.SUBMISSION)
    with connection.cursor() as cursor:
        places = ", ".join(["%s"] * len(wanted))
        cursor.execute(f"{_TIES} ({places})", [by.user_pk, *wanted])
        rows = cursor.fetchall()
    found: dict[int, Tie] = {}
    for pk, is_own, works_there, owner_user, owner_email, email, is_family in rows:
        has_address = owner_email and owner_email.casefold() == email.casefold()
        if is_own:
            found[pk] = Tie.SUBMISSION
        elif works_there:
            found[pk] = Tie.CLINIC
        elif has_address or owner_user == by.user_pk:
            found[pk] = Tie.DOG
        elif is_family:
            found[pk] = Tie.FAMILY
    return found


def why_not_decide(by: Actor, evaluation: Evaluation) -> str:
    """Why this registrar must leave the evaluation to another one; empty when they may decide."""
    tie = ties_of(by, [evaluation.pk]).get(evaluation.pk)
    return str(_SENTENCES[tie]) if tie else ""


def refuse_tied(by: Actor, evaluation_pks: Iterable[int]) -> None:
    """Raise Refused, and note it in the server's log, if the actor is tied to one of these."""
    ties = ties_of(by, evaluation_pks)
    if not ties:
        return
    pk, tie = min(ties.items())
    logger.warning("a decision was refused: %s of result %d, person %s", tie, pk, by.subject_id)
    raise Refused(str(_SENTENCES[tie]))


def refuse_family(by: Actor, dog_pk: int) -> None:
    """Raise Refused, and note it in the server's log, if the actor owns the dog or its close
    family: ties hang on parents and days of birth, so nobody takes their own away by changing
    them."""
    with connection.cursor() as cursor:
        cursor.execute(_OWNS_FAMILY, [by.user_pk, dog_pk])
        is_theirs = cursor.fetchone() is not None
    if is_theirs:
        logger.warning("a correction was refused: dog %d, person %s", dog_pk, by.subject_id)
        raise Refused(str(_NOT_YOURS_TO_CHANGE))
