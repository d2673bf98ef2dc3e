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
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from registry.desk.actor import Actor, require_role, why_not_decide
from registry.desk.certificates import new_certificate_number
from registry.desk.counting import hold_dog_of, recount
from registry.desk.errors import Conflict, DeskError, Invalid, NotFound, Refused
from registry.desk.mail import queue
from registry.ledger import Change, append
from registry.models import Certificate, Evaluation, FlagLevel, Role, State
from registry.models.moves import MOVES
from registry.queries.distributions import distribution
from registry.science.standing import standing

MOST_AT_ONCE = 25


def accept(*, by: Actor, evaluation_id: str, reason: str = "") -> Certificate:
    """Accept a submitted evaluation and issue its certificate.

    A flag of level stop wants a reason. Raises Conflict with who did what when it is decided
    already.
    """
    require_role(by, Role.REGISTRAR)
    with transaction.atomic():
        evaluation = claim(by, evaluation_id, "accept")
        stops = evaluation.flags.filter(level=FlagLevel.STOP).values_list("code", flat=True)
        if stops and not reason.strip():
            raise Invalid.one(
                "/reason", _("A check says stop. Say why you accept the result anyway.")
            )
        certificate = issue(evaluation, at=evaluation.accepted_at or timezone.now())
        append(
            by=by,
            action="evaluation.accepted",
            subject=f"evaluation:{evaluation.public_id}",
            dog=evaluation.dog.public_id,
            changes={
                "state": Change(State.SUBMITTED, evaluation.state),
                "certificate": Change(None, certificate.number),
                "standing": Change(None, certificate.standing),
                "overridden": Change(None, sorted(stops)),
            },
            reason=reason.strip(),
        )
        queue(
            kind="accepted",
            to_email=evaluation.clinic.email,
            evaluation=evaluation,
            detail={"number": certificate.number},
        )
        if evaluation.owner is not None:
            queue(kind="owner-result", to_email=evaluation.owner.email, evaluation=evaluation)
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
            certificate = accept(by=by, evaluation_id=evaluation_id)
        except DeskError as error:
            outcomes.append(Outcome(evaluation_id, None, str(error)))
        else:
            outcomes.append(Outcome(evaluation_id, certificate, ""))
    return outcomes


def claim(by: Actor, evaluation_id: str, deed: str) -> Evaluation:
    """Move the evaluation by a conditional update and check that this registrar may; inside a
    transaction.

    The dog is held first, then the update holds the evaluation's row; on SQLite the transaction is
    the lock.
    """
    move = MOVES[deed]
    hold_dog_of(evaluation_id)
    now = timezone.now()
    rows = Evaluation.objects.filter(public_id=evaluation_id)
    values = {"state": move.after, "decided_by_id": by.user_pk, "decided_at": now}
    if move.after == State.ACCEPTED:
        values["accepted_at"] = now
    claimed = rows.filter(state__in=move.before).update(version=F("version") + 1, **values)
    evaluation = rows.select_related("dog__breed", "clinic", "owner", "decided_by").first()
    if evaluation is None:
        raise NotFound(_("There is no such result."))
    if not claimed:
        raise _too_late(evaluation)
    if why := why_not_decide(by, evaluation):
        raise Refused(why)
    return evaluation


def issue(evaluation: Evaluation, *, at: datetime) -> Certificate:
    """Count the accepted evaluation and give it its certificate; inside the caller's
    transaction."""
    recount(dog=evaluation.dog, at=at)
    evaluation.refresh_from_db(fields=["state"])
    return Certificate.objects.create(
        number=new_certificate_number(),
        evaluation=evaluation,
        issued_at=at,
        standing=_standings(evaluation),
    )


def _standings(evaluation: Evaluation) -> dict[str, Any]:
    """Per trait, where the dog stands in the counts of this very moment."""
    steps: dict[str, list[int]] = {}
    traits = {}
    for reading in evaluation.readings.select_related("trait").filter(trait__is_counted=True):
        traits[reading.trait.slug] = reading.trait
        steps.setdefault(reading.trait.slug, []).append(reading.step)
    standings: dict[str, Any] = {}
    for slug, trait in traits.items():
        now = distribution(breed=evaluation.dog.breed, trait=trait)
        step = trait.worst(steps[slug])
        place = standing(now.histogram, step, trait.better_steps)
        standings[slug] = {
            "step": step,
            "better": place.better,
            "equal": place.equal,
            "worse": place.worse,
            "n": place.n,
            "first_month": now.first_month.isoformat(),
            "last_month": now.last_month.isoformat(),
        }
    return standings


def _turn_down(
    by: Actor, evaluation_id: str, deed: str, reason: str, fields: list[str]
) -> Evaluation:
    require_role(by, Role.REGISTRAR)
    reason = reason.strip()
    if not reason:
        raise Invalid.one("/reason", _("Give the reason: the clinic reads it."))
    if len(reason) > 4000:
        raise Invalid.one("/reason", _("Shorten the reason to 4,000 characters."))
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
            evaluation=evaluation,
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
