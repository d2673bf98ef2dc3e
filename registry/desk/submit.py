"""A clinic sends a result, answers a returned one, or withdraws one that is not decided yet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from registry import clock
from registry.desk import reasons
from registry.desk.actor import Actor, clinic_of, person_of, require_role
from registry.desk.announce import put_again, put_to_announcement
from registry.desk.answers import Answers, ReadingAnswer, read_answers
from registry.desk.certificates import new_reference
from registry.desk.counting import hold_dog_of
from registry.desk.errors import Conflict, Invalid, NotFound, Problem
from registry.desk.evidence import claim_for
from registry.desk.flagging import flag
from registry.desk.known_dogs import dog_by_chip, dog_by_id, hold
from registry.ledger import Change, append
from registry.models import (
    Clinic,
    Dog,
    Draft,
    Evaluation,
    Owner,
    Reading,
    Role,
    State,
    Trait,
)
from registry.models.moves import MOVES
from registry.science.microchip import ChipProblem, parse_chip


def submit(*, by: Actor, body: Mapping[str, Any], draft: Draft | None = None) -> Evaluation:
    """Send one evaluation to the club; ``body`` has the shape of the REST body.

    Raises Invalid with every fault, NotFound for a dog the register does not have. Files on the
    draft go
    with it. Returns the evaluation with its reference and flags.
    """
    require_role(by, Role.CLINIC)
    with transaction.atomic():
        _active_clinic(by)
        answers = read_answers(body, traits=_traits())
        dog = dog_of(answers)
        evaluation = Evaluation.objects.create(
            reference=new_reference(),
            state=State.SUBMITTED,
            dog=dog,
            clinic_id=clinic_of(by),
            examined_on=answers.examined_on,
            examiner=answers.examiner,
            conditions=answers.conditions,
            owner=_owner(answers),
            consent_to_publish=answers.consent_to_publish,
            submitted_by_id=person_of(by),
            submitted_at=clock.now(),
        )
        _finish(by, evaluation, answers, draft, action="evaluation.submitted", before={})
        put_to_announcement(by, evaluation)
    return evaluation


def resubmit(
    *, by: Actor, evaluation_id: str, body: Mapping[str, Any], draft: Draft | None = None
) -> Evaluation:
    """Answer a returned evaluation: the same reference goes back into the queue with the new
    answers."""
    require_role(by, Role.CLINIC)
    with transaction.atomic():
        # The dog before the evaluation, as every deed that needs both.
        hold_dog_of(evaluation_id)
        evaluation, _returned = _claim(by, evaluation_id, "resubmit")
        before = described(evaluation)
        answers = read_answers(body, traits=_traits())
        dog = dog_of(answers)
        evaluation.dog = dog
        evaluation.examined_on = answers.examined_on
        personal = {"examiner": Change(evaluation.examiner, answers.examiner)}
        evaluation.examiner = answers.examiner
        evaluation.conditions = answers.conditions
        if answers.owner is not None:
            evaluation.owner = _owner(answers)
        evaluation.consent_to_publish = answers.consent_to_publish
        evaluation.submitted_at = clock.now()
        evaluation.submitted_by_id = person_of(by)
        evaluation.reason = ""
        evaluation.fields_to_fix = []
        evaluation.save()
        evaluation.readings.all().delete()
        _finish(
            by,
            evaluation,
            answers,
            draft,
            action="evaluation.resubmitted",
            before=before,
            personal=personal,
        )
        put_again(by, evaluation)
    return evaluation


def withdraw(*, by: Actor, evaluation_id: str, reason: str) -> Evaluation:
    """Take back a result that is not decided yet, with a reason. It stays on record as
    withdrawn."""
    require_role(by, Role.CLINIC)
    reason = reasons.needed(reason, _("Say why the result is withdrawn."))
    with transaction.atomic():
        evaluation, before = _claim(by, evaluation_id, "withdraw")
        evaluation.reason = reason
        evaluation.save(update_fields=["reason"])
        append(
            by=by,
            action="evaluation.withdrawn",
            subject=f"evaluation:{evaluation.public_id}",
            dog=evaluation.dog.public_id,
            changes={"state": Change(before, State.WITHDRAWN)},
            reason=reason,
        )
    return evaluation


def dog_of(answers: Answers) -> Dog:
    """The dog that the answers name; raises Invalid when the register does not have it.

    It is held, so that it is not merged into another one before the result is written.
    """
    dog = _named(answers)
    # Merged away between the look-up and the hold: its id and chip now name the other dog.
    return dog if hold(dog) else _named(answers)


def _named(answers: Answers) -> Dog:
    if "id" in answers.dog:
        dog = dog_by_id(answers.dog["id"])
        if dog is None:
            raise Invalid.one(
                "/dog/id", _("There is no dog with this id. Look the dog up by its chip.")
            )
        return dog
    try:
        chip = parse_chip(answers.dog["chip"]).text15
    except ChipProblem as problem:
        raise Invalid.one("/dog/chip", str(problem)) from problem
    dog = dog_by_chip(chip)
    if dog is None:
        raise Invalid.one(
            "/dog/chip",
            _("No dog has the chip %(chip)s. Check the number, or register the dog first.")
            % {"chip": chip},
        )
    return dog


def described(evaluation: Evaluation) -> dict[str, Any]:
    """The evaluation's facts as the ledger states them, one value a field."""
    facts: dict[str, Any] = {
        "dog": evaluation.dog.public_id,
        "examined_on": evaluation.examined_on,
        "consent_to_publish": evaluation.consent_to_publish,
        "owner": evaluation.owner.public_id if evaluation.owner else None,
    }
    for name, value in evaluation.conditions.items():
        facts[f"conditions.{name}"] = value
    for reading in evaluation.readings.select_related("trait").order_by("trait__position", "side"):
        facts[f"readings.{reading.trait.slug}.{reading.side}"] = _reading_text(reading)
    return facts


def _reading_text(reading: Reading) -> str:
    text = reading.value_text
    if reading.head_radius_mm is not None:
        text += f" ({reading.displacement_mm} mm / {reading.head_radius_mm} mm)"
    return text


def described_as_body(evaluation: Evaluation) -> dict[str, Any]:
    """What was sent, in the shape of the REST body, to start a correction from."""
    body: dict[str, Any] = {
        "dog": {"id": evaluation.dog.public_id},
        "examined_on": evaluation.examined_on.isoformat(),
        "examiner": evaluation.examiner,
        "conditions": dict(evaluation.conditions),
        "consent_to_publish": evaluation.consent_to_publish,
        "readings": [],
    }
    if evaluation.owner is not None:
        body["owner"] = {"full_name": evaluation.owner.full_name, "email": evaluation.owner.email}
    for reading in evaluation.readings.select_related("trait").order_by("trait__position", "side"):
        item = {"trait": reading.trait.slug, "side": reading.side}
        if reading.head_radius_mm is not None:
            item["head_radius_mm"] = str(reading.head_radius_mm)
            item["displacement_mm"] = str(reading.displacement_mm)
        else:
            item["value"] = reading.value_text
        body["readings"].append(item)
    return body


def store_readings(evaluation: Evaluation, readings: tuple[ReadingAnswer, ...]) -> None:
    """Write the readings of an evaluation that has none."""
    Reading.objects.bulk_create(
        Reading(
            evaluation=evaluation,
            trait=reading.trait,
            side=reading.side,
            step=reading.step,
            head_radius_mm=reading.head_radius_mm,
            displacement_mm=reading.displacement_mm,
        )
        for reading in readings
    )


def _finish(
    by: Actor,
    evaluation: Evaluation,
    answers: Answers,
    draft: Draft | None,
    *,
    action: str,
    before: dict[str, Any],
    personal: dict[str, Change] | None = None,
) -> None:
    store_readings(evaluation, answers.readings)
    claim_for(by=by, evaluation=evaluation, evidence_ids=answers.evidence, draft=draft)
    evidence = list(evaluation.evidence.all())
    flags = flag(evaluation, readings=answers.readings, evidence=evidence)
    if draft is not None:
        Draft.objects.filter(pk=draft.pk).update(sent_as=evaluation)
    after = described(evaluation)
    changes = {
        name: Change(before.get(name), after.get(name))
        for name in before.keys() | after.keys()
        if before.get(name) != after.get(name)
    }
    changes["state"] = Change(State.RETURNED if before else None, State.SUBMITTED)
    changes["evidence"] = Change(None, sorted(item.sha256 for item in evidence))
    changes["flags"] = Change(None, sorted(item.code for item in flags))
    append(
        by=by,
        action=action,
        subject=f"evaluation:{evaluation.public_id}",
        dog=evaluation.dog.public_id,
        changes=changes,
        personal=personal or {"examiner": Change(None, evaluation.examiner)},
    )


def _claim(by: Actor, evaluation_id: str, deed: str) -> tuple[Evaluation, str]:
    """Move the clinic's own evaluation and return it with its former state, or say why it cannot
    move."""
    move = MOVES[deed]
    own = Evaluation.objects.filter(public_id=evaluation_id, clinic_id=clinic_of(by))
    before = own.values_list("state", flat=True).first()
    claimed = own.filter(state__in=move.before).update(state=move.after, version=F("version") + 1)
    evaluation = own.select_related("dog__breed", "owner", "decided_by").first()
    if evaluation is None:
        raise NotFound(_("There is no such result."))
    if not claimed:
        raise Conflict(
            _("This result is %(state)s; that cannot be done with it any more.")
            % {"state": State(before).label if before else ""},
            state=before or "",
            at=evaluation.decided_at,
        )
    return evaluation, before or ""


def _owner(answers: Answers) -> Owner | None:
    """The owner's record: the one with this name and mail address, or a new one."""
    if answers.owner is None:
        return None
    known = Owner.objects.filter(
        full_name=answers.owner.full_name, email__iexact=answers.owner.email
    ).exclude(email="")
    return known.first() or Owner.objects.create(
        full_name=answers.owner.full_name, email=answers.owner.email
    )


def _active_clinic(by: Actor) -> None:
    if not Clinic.objects.filter(pk=clinic_of(by), is_active=True).exists():
        raise Invalid(
            [Problem("", _("Your clinic may not submit at the moment. Ask the secretary."))]
        )


def _traits() -> dict[str, Trait]:
    return {trait.slug: trait for trait in Trait.objects.all()}
