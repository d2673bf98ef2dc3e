"""A registrar decides on a submitted evaluation: accept, return for correction, decline; one or
many.

Acceptance is one transaction: state, counts of the distribution, certificate number, ledger entry.
Of two
registrars one wins; the other is told who did what and when.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from django.db import connection, transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from registry import clock
from registry.desk import reasons
from registry.desk.actor import Actor, require_role
from registry.desk.certificates import new_certificate_number, new_status_place
from registry.desk.counting import Candidate, CountedDog, hold_dog_of, recount
from registry.desk.errors import Conflict, DeskError, Invalid, NotFound
from registry.desk.mail import queue
from registry.desk.second_look import NeedsSecondError, ask, settle, wished_by
from registry.desk.ties import refuse_tied
from registry.ledger import Change, append
from registry.models import (
    Certificate,
    Evaluation,
    FlagLevel,
    Role,
    SecondDeed,
    SecondLook,
    State,
)
from registry.models.moves import MOVES
from registry.queries.breed_counts import BreedCounts, breed_counts
from registry.queries.places import as_kept, place_of

MOST_AT_ONCE = 25


def accept(*, by: Actor, evaluation_id: str, reason: str = "") -> Certificate | SecondLook:
    """Accept a submitted evaluation and issue its certificate.

    A flag of level stop wants a reason and a second registrar: the first one's wish is written
    down and returned, the second one's call accepts. Raises Conflict with who did what when it is
    decided already.
    """
    require_role(by, Role.REGISTRAR)
    reason = reasons.at_most(reason)
    try:
        return _accept(by, evaluation_id, reason)
    except NeedsSecondError:
        return ask(by=by, evaluation_id=evaluation_id, deed=SecondDeed.ACCEPT, reason=reason)


def _accept(by: Actor, evaluation_id: str, reason: str) -> Certificate:
    with transaction.atomic():
        claimed = _claim(by, evaluation_id, "accept")
        stops = _stops(claimed.pk)
        first = None
        if stops:
            if not reason:
                raise Invalid.one(
                    "/reason", _("A check says stop. Say why you accept the result anyway.")
                )
            first = settle(by=by, evaluation_pk=claimed.pk, deed=SecondDeed.ACCEPT)
        certificate, state = issue(
            claimed.pk, claimed.dog, window_months=claimed.window_months, at=claimed.at
        )
        append(
            by=by,
            action="evaluation.accepted",
            subject=f"evaluation:{evaluation_id}",
            dog=claimed.dog_id,
            changes={
                "state": Change(State.SUBMITTED, state),
                "certificate": Change(None, certificate.number),
                "standing": Change(None, certificate.standing),
                "overridden": Change(None, stops),
                **wished_by(first),
            },
            reason=reason,
        )
        number = {"number": certificate.number}
        queue(
            kind="accepted",
            to_email=claimed.clinic_email,
            evaluation_pk=claimed.pk,
            detail=number,
        )
        queue(kind="owner-result", to_email=claimed.owner_email, evaluation_pk=claimed.pk)
    return certificate


def return_for_correction(
    *, by: Actor, evaluation_id: str, reason: str, fields: Sequence[str] = ()
) -> Evaluation:
    """Send a submitted evaluation back with a reason; ``fields`` are JSON pointers to what to
    fix."""
    return _turn_down(by, evaluation_id, "return", reason, list(fields))


def decline(*, by: Actor, evaluation_id: str, reason: str) -> Evaluation:
    """Decline a submitted evaluation for good, with a reason."""
    return _turn_down(by, evaluation_id, "decline", reason, [])


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one of many: its certificate, or why it was left."""

    evaluation_id: str
    certificate: Certificate | None
    why_left: str


def accept_many(*, by: Actor, evaluation_ids: Iterable[str]) -> list[Outcome]:
    """Accept unflagged evaluations, each in a transaction of its own; flagged ones are left and
    named."""
    require_role(by, Role.REGISTRAR)
    wanted = list(dict.fromkeys(evaluation_ids))
    if not wanted:
        raise Invalid.one("/evaluations", _("Choose at least one result."))
    if len(wanted) > MOST_AT_ONCE:
        raise Invalid.one(
            "/evaluations", _("Choose at most %(most)d results at a time.") % {"most": MOST_AT_ONCE}
        )
    flagged = set(
        Evaluation.objects.filter(public_id__in=wanted, flags__isnull=False).values_list(
            "public_id", flat=True
        )
    )
    outcomes = []
    for evaluation_id in wanted:
        if evaluation_id in flagged:
            why = _("It has a flag. Open it and decide on it alone.")
            outcomes.append(Outcome(evaluation_id, None, why))
            continue
        try:
            # Without a flag there is no stop, so nobody else has to look.
            certificate = _accept(by, evaluation_id, "")
        except DeskError as error:
            outcomes.append(Outcome(evaluation_id, None, str(error)))
        else:
            outcomes.append(Outcome(evaluation_id, certificate, ""))
    return outcomes


class _Claimed(NamedTuple):
    """What deciding must know of a claimed evaluation and its dog.

    ``at`` is the instant of the claim, ``dog_id`` the dog's public id.
    """

    pk: int
    at: datetime
    dog: CountedDog
    dog_id: str
    window_months: int
    clinic_email: str
    owner_email: str


_CLAIM = """
    UPDATE registry_evaluation
    SET state = %s, decided_by_id = %s, decided_at = %s, accepted_at = COALESCE(%s, accepted_at),
        version = version + 1
    WHERE public_id = %s AND state IN
"""
_CLAIMED = """
    SELECT e.id, d.id, d.breed_id, d.sex, d.public_id, b.window_months, k.email,
           COALESCE(o.email, '')
    FROM registry_evaluation e
    JOIN registry_dog d ON d.id = e.dog_id
    JOIN registry_breed b ON b.id = d.breed_id
    JOIN registry_clinic k ON k.id = e.clinic_id
    LEFT JOIN registry_owner o ON o.id = e.owner_id
    WHERE e.public_id = %s
"""


def claim(by: Actor, evaluation_id: str, deed: str) -> Evaluation:
    """Move the evaluation by a conditional update and check that this registrar may; inside a
    transaction.

    The dog is held first, then the update holds the evaluation's row; on SQLite the transaction is
    the lock.
    """
    claimed = _claim(by, evaluation_id, deed)
    return _whole().get(pk=claimed.pk)


def _claim(by: Actor, evaluation_id: str, deed: str) -> _Claimed:
    """The same, with what an acceptance must know in place of the loaded objects."""
    hold_dog_of(evaluation_id)
    move, now = MOVES[deed], clock.now()
    instant = connection.ops.adapt_datetimefield_value(now)
    accepted_at = instant if move.after == State.ACCEPTED else None
    before = ", ".join(["%s"] * len(move.before))
    with connection.cursor() as cursor:
        cursor.execute(
            f"{_CLAIM} ({before})",
            [move.after, by.user_pk, instant, accepted_at, evaluation_id, *move.before],
        )
        is_claimed = cursor.rowcount == 1
        cursor.execute(_CLAIMED, [evaluation_id])
        row = cursor.fetchone()
    if row is None:
        raise NotFound(_("There is no such result."))
    if not is_claimed:
        raise _too_late(_whole().get(public_id=evaluation_id))
    pk, dog_pk, breed_id, sex, dog_id, window_months, clinic_email, owner_email = row
    refuse_tied(by, [pk])
    return _Claimed(
        pk,
        now,
        CountedDog(dog_pk, breed_id, sex),
        dog_id,
        window_months,
        clinic_email,
        owner_email,
    )


def _whole() -> QuerySet[Evaluation]:
    return Evaluation.objects.select_related("dog__breed", "clinic", "owner", "decided_by")


def _stops(evaluation_pk: int) -> list[str]:
    """Codes of the flags that an acceptance must give a reason against."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT code FROM registry_flag WHERE evaluation_id = %s AND level = %s",
            [evaluation_pk, FlagLevel.STOP.value],
        )
        return sorted(code for (code,) in cursor.fetchall())


def issue(
    evaluation_pk: int, dog: CountedDog, *, window_months: int, at: datetime
) -> tuple[Certificate, State]:
    """Count the accepted evaluation and give it its certificate; inside the caller's transaction.

    Also returns the evaluation's state: replaced at once when a later examination counts already.
    """
    counted = recount(dog=dog, at=at)[evaluation_pk]
    now = breed_counts(
        dog.breed_id, window_months=window_months, now=at, evaluation_id=evaluation_pk
    )
    certificate = Certificate.objects.create(
        number=new_certificate_number(),
        evaluation_id=evaluation_pk,
        issued_at=at,
        standing=_standings(now, counted),
        status_place=new_status_place(),
    )
    return certificate, counted.state


def _standings(now: BreedCounts, examined: Candidate) -> dict[str, Any]:
    """Per trait, where the dog stands among the others in the counts of this very moment."""
    return {
        said.slug: as_kept(
            place_of(now, said.trait_id, said.step, said.better, evaluation_id=examined.pk),
            said.step,
        )
        for said in examined.spoken.values()
    }


def _turn_down(
    by: Actor, evaluation_id: str, deed: str, reason: str, fields: list[str]
) -> Evaluation:
    require_role(by, Role.REGISTRAR)
    reason = reasons.needed(reason, _("Give the reason: the clinic reads it."))
    with transaction.atomic():
        evaluation = claim(by, evaluation_id, deed)
        evaluation.reason = reason
        evaluation.fields_to_fix = fields
        evaluation.save(update_fields=["reason", "fields_to_fix"])
        append(
            by=by,
            action=f"evaluation.{evaluation.state}",
            subject=f"evaluation:{evaluation.public_id}",
            dog=evaluation.dog.public_id,
            changes={
                "state": Change(State.SUBMITTED, evaluation.state),
                "fields_to_fix": Change(None, fields),
            },
            reason=reason,
        )
        queue(
            kind=str(evaluation.state),
            to_email=evaluation.clinic.email,
            evaluation_pk=evaluation.pk,
            detail={"reason": reason},
        )
    return evaluation


def _too_late(evaluation: Evaluation) -> Conflict:
    who = str(evaluation.decided_by) if evaluation.decided_by else ""
    state = State(evaluation.state).label
    if who and evaluation.decided_at:
        at = timezone.localtime(evaluation.decided_at)
        message = _("%(who)s was first: this result is %(state)s since %(day)s at %(time)s.") % {
            "who": who,
            "state": state,
            "day": f"{at.day} {at:%B %Y}",
            "time": f"{at:%H:%M}",
        }
    else:
        message = _("This result is %(state)s; it cannot be decided on now.") % {"state": state}
    return Conflict(message, state=evaluation.state, who=who, at=evaluation.decided_at)
