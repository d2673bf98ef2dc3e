"""Later, with a reason: revoke an accepted evaluation, or replace its readings by corrected
ones."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from registry import clock
from registry.desk import reasons
from registry.desk.actor import Actor, require_role
from registry.desk.answers import read_answers
from registry.desk.certificates import new_reference
from registry.desk.counting import CountedDog, hold_dog_of, recount
from registry.desk.decide import claim, issue
from registry.desk.errors import Conflict, Invalid
from registry.desk.flagging import flag
from registry.desk.mail import queue
from registry.desk.second_look import NeedsSecondError, ask, settle, wished_by
from registry.desk.submit import described, described_as_body, store_readings
from registry.ledger import Change, append
from registry.models import (
    Certificate,
    Evaluation,
    Flag,
    FlagLevel,
    Role,
    SecondDeed,
    SecondLook,
    State,
    Trait,
)
from registry.queries.flag_words import words_of


def revoke(*, by: Actor, evaluation_id: str, reason: str) -> Evaluation | SecondLook:
    """Revoke an accepted or replaced evaluation. An earlier result of the dog counts again.

    It takes two registrars: the first one's wish is written down and returned, the second one's
    call revokes, with the reason the second one gives. The certificate keeps answering, and says
    since when and why it is revoked.
    """
    require_role(by, Role.REGISTRAR)
    reason = reasons.needed(reason, _("Give the reason: it stands on the certificate's page."))
    try:
        return _revoke(by, evaluation_id, reason)
    except NeedsSecondError:
        return ask(by=by, evaluation_id=evaluation_id, deed=SecondDeed.REVOKE, reason=reason)


def _revoke(by: Actor, evaluation_id: str, reason: str) -> Evaluation:
    with transaction.atomic():
        # Held before the state is read: a newer result may be overtaking this one just now.
        hold_dog_of(evaluation_id)
        before = _state(evaluation_id)
        evaluation = claim(by, evaluation_id, "revoke")
        first = settle(by=by, evaluation_pk=evaluation.pk, deed=SecondDeed.REVOKE)
        evaluation.reason = reason
        evaluation.save(update_fields=["reason"])
        at = evaluation.decided_at or clock.now()
        recount(dog=CountedDog.of(evaluation.dog), at=at)
        append(
            by=by,
            action="evaluation.revoked",
            subject=f"evaluation:{evaluation.public_id}",
            dog=evaluation.dog.public_id,
            changes={"state": Change(before, State.REVOKED), **wished_by(first)},
            reason=reason,
        )
        detail = {"reason": reason}
        queue(
            kind="revoked",
            to_email=evaluation.clinic.email,
            evaluation_pk=evaluation.pk,
            detail=detail,
        )
        if evaluation.owner is not None:
            queue(kind="owner-result", to_email=evaluation.owner.email, evaluation_pk=evaluation.pk)
    return evaluation


def replace(
    *, by: Actor, evaluation_id: str, changes: Mapping[str, Any], reason: str
) -> Certificate:
    """Replace an accepted evaluation by one with corrected answers; returns the new certificate.

    ``changes`` are members of the REST body that differ (readings, examined_on, examiner,
    conditions). The old evaluation reads replaced and never counts again, even if the correction
    is revoked. Raises Invalid where a check says stop that did not before: it takes two to go past
    one.
    """
    require_role(by, Role.REGISTRAR)
    reason = reasons.needed(reason, _("Give the reason: it stands on the certificate's page."))
    with transaction.atomic():
        old = claim(by, evaluation_id, "replace")
        if hasattr(old, "corrected_by"):
            raise Conflict(_("This result was replaced before."), state=old.state)
        body = {**described_as_body(old), **changes}
        if set(changes) - {"readings", "examined_on", "examiner", "conditions"}:
            raise Invalid.one("", _("Only readings, day, examiner and conditions can be replaced."))
        answers = read_answers(body, traits={trait.slug: trait for trait in Trait.objects.all()})
        old.reason = reason
        old.save(update_fields=["reason"])
        at = old.decided_at or clock.now()
        new = Evaluation.objects.create(
            reference=new_reference(),
            state=State.ACCEPTED,
            dog=old.dog,
            clinic=old.clinic,
            examined_on=answers.examined_on,
            examiner=answers.examiner,
            conditions=answers.conditions,
            owner=old.owner,
            consent_to_publish=old.consent_to_publish,
            consent_changed_at=old.consent_changed_at,
            submitted_by_id=old.submitted_by_id,
            submitted_at=old.submitted_at,
            decided_by_id=by.user_pk,
            decided_at=at,
            accepted_at=at,
            corrects=old,
        )
        store_readings(new, answers.readings)
        _refuse_new_stops(old, flag(new, readings=answers.readings, evidence=()))
        certificate, _state = issue(
            new.pk, CountedDog.of(old.dog), window_months=old.dog.breed.window_months, at=at
        )
        before, after = described(old), described(new)
        append(
            by=by,
            action="evaluation.replaced",
            subject=f"evaluation:{old.public_id}",
            dog=old.dog.public_id,
            changes={
                "state": Change(State.ACCEPTED, State.REPLACED),
                "replaced_by": Change(None, new.public_id),
                "certificate": Change(None, certificate.number),
                "standing": Change(None, certificate.standing),
                **{
                    name: Change(before.get(name), after.get(name))
                    for name in before.keys() | after.keys()
                    if before.get(name) != after.get(name)
                },
            },
            personal={"examiner": Change(old.examiner, new.examiner)}
            if old.examiner != new.examiner
            else None,
            reason=reason,
        )
        detail = {"reason": reason, "number": certificate.number}
        queue(kind="replaced", to_email=old.clinic.email, evaluation_pk=new.pk, detail=detail)
        if new.owner is not None:
            queue(kind="owner-result", to_email=new.owner.email, evaluation_pk=new.pk)
    return certificate


def _refuse_new_stops(old: Evaluation, flags: list[Flag]) -> None:
    """One registrar corrects alone, and must not go past a stop by it; one that two have gone past
    when the result was approved stands in no correction's way."""
    passed = {_what_stops(each) for each in old.flags.filter(level=FlagLevel.STOP)}
    new = [
        each for each in flags if each.level == FlagLevel.STOP and _what_stops(each) not in passed
    ]
    if new:
        said = " ".join(words_of(each).sentence for each in new)
        raise Invalid.one(
            "",
            _(
                "A check says stop: %(said)s Correct what you typed. If it is right all the same,"
                " one registrar cannot take it alone: revoke this result, and let the clinic send"
                " a new one."
            )
            % {"said": said},
        )


def _what_stops(flag: Flag) -> tuple[str, int | None, str | None]:
    return flag.code, flag.trait_id, flag.detail.get("kind")


def _state(evaluation_id: str) -> str | None:
    return (
        Evaluation.objects.filter(public_id=evaluation_id).values_list("state", flat=True).first()
    )
