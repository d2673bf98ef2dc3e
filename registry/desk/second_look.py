"""What one registrar wishes and another has to confirm: revoking, and approving over a stop.

The first call of such a deed writes the wish down and changes nothing else; the same call by
another registrar settles it and carries the deed out, in one transaction.
"""

from __future__ import annotations

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from registry import clock
from registry.desk import reasons
from registry.desk.actor import Actor, person_of, require_role
from registry.desk.errors import Conflict, NotFound
from registry.desk.ties import refuse_tied
from registry.ledger import Change, append
from registry.models import Evaluation, Role, SecondDeed, SecondLook
from registry.models.moves import MOVES
from registry.queries.second_looks import standing_looks


class NeedsSecondError(Exception):
    """Nobody else has wished it yet; takes back what the deed's transaction had claimed."""


def settle(*, by: Actor, evaluation_pk: int, deed: SecondDeed) -> SecondLook:
    """Inside the deed's transaction: the open wish of another registrar, settled now.

    Raises NeedsSecondError where there is none. A wish about what was sent in before a correction
    is none: it was about other values.
    """
    settled = (
        standing_looks()
        .filter(evaluation_id=evaluation_pk, deed=deed)
        .exclude(asked_by_id=person_of(by))
        .first()
    )
    if settled is None:
        raise NeedsSecondError
    settled.settled_by_id, settled.settled_at = person_of(by), clock.now()
    settled.save(update_fields=["settled_by", "settled_at"])
    return settled


def wished_by(look: SecondLook | None) -> dict[str, Change]:
    """For the ledger: who wished it first."""
    return {} if look is None else {"wished_by": Change(None, look.asked_by.subject_id)}


def ask(*, by: Actor, evaluation_id: str, deed: SecondDeed, reason: str) -> SecondLook:
    """Write down the wish. Raises Conflict when it was written down before, or comes too late."""
    with transaction.atomic():
        evaluation = (
            Evaluation.objects.select_related("dog").filter(public_id=evaluation_id).first()
        )
        if evaluation is None:
            raise NotFound(_("There is no such result."))
        refuse_tied(by, [evaluation.pk])
        if evaluation.state not in MOVES[deed].before:
            raise Conflict(
                _("This result is in another state by now. Look at it again."),
                state=evaluation.state,
            )
        outdated = SecondLook.objects.filter(
            evaluation=evaluation, settled_at__isnull=True, asked_at__lt=evaluation.submitted_at
        )
        outdated.update(settled_at=clock.now())
        try:
            with transaction.atomic():
                look = SecondLook.objects.create(
                    evaluation=evaluation,
                    deed=deed,
                    reason=reason,
                    asked_by_id=person_of(by),
                    asked_at=clock.now(),
                )
        except IntegrityError as error:
            mine = standing_looks().filter(
                evaluation=evaluation, deed=deed, asked_by_id=person_of(by)
            )
            raise Conflict(
                _("You have asked for this already. Another registrar has to confirm it.")
                if mine.exists()
                else _("Another registrar asked for the same just now. Do it again to confirm it.")
            ) from error
        append(
            by=by,
            action="evaluation.second-look",
            subject=f"evaluation:{evaluation.public_id}",
            dog=evaluation.dog.public_id,
            changes={"wished": Change(None, deed)},
            reason=reason,
        )
    return look


def drop(*, by: Actor, look_id: str, reason: str) -> SecondLook:
    """Leave the result as it is: by another registrar, or by the one who asked."""
    require_role(by, Role.REGISTRAR)
    reason = reasons.needed(reason, _("Say why it is left as it is."))
    with transaction.atomic():
        dropped = SecondLook.objects.filter(public_id=look_id, settled_at__isnull=True).update(
            settled_by_id=person_of(by), settled_at=clock.now()
        )
        look = (
            SecondLook.objects.select_related("evaluation__dog").filter(public_id=look_id).first()
        )
        if look is None:
            raise NotFound(_("There is no such wish."))
        refuse_tied(by, [look.evaluation_id])
        if not dropped:
            raise Conflict(_("Another registrar was first. Look at the result again."))
        append(
            by=by,
            action="evaluation.second-look",
            subject=f"evaluation:{look.evaluation.public_id}",
            dog=look.evaluation.dog.public_id,
            changes={"wished": Change(look.deed, None)},
            reason=reason,
        )
    return look
