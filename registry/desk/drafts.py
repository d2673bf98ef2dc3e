"""Keep a clinic's unsent answers. A draft has the shape of the REST body, so sending it is
``submit``.

Drafts are the clinic's own notes and not part of the audit trail; what is sent is.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from registry import clock
from registry.desk.actor import Actor, clinic_of, person_of, require_role
from registry.desk.errors import Conflict, NotFound
from registry.desk.known_dogs import dog_by_id
from registry.desk.submit import described_as_body, resubmit, submit
from registry.models import Draft, Evaluation, Role, State


def start_draft(*, by: Actor, dog_id: str | None = None, examined_on: date | None = None) -> Draft:
    """A new draft of the actor's clinic; with dog and day where they are known already."""
    require_role(by, Role.CLINIC)
    dog = dog_by_id(dog_id) if dog_id else None
    answers: dict[str, Any] = {"dog": {"id": dog.public_id}} if dog else {}
    if examined_on is not None:
        answers["examined_on"] = examined_on.isoformat()
    return Draft.objects.create(
        clinic_id=clinic_of(by), created_by_id=person_of(by), dog=dog, answers=answers
    )


def answer_returned(*, by: Actor, evaluation_id: str) -> Draft:
    """The draft that answers a returned evaluation: the open one, or a new one with what was
    sent."""
    require_role(by, Role.CLINIC)
    with transaction.atomic():
        evaluation = (
            Evaluation.objects.select_related("dog", "owner")
            .filter(public_id=evaluation_id, clinic_id=clinic_of(by))
            .first()
        )
        if evaluation is None:
            raise NotFound(_("There is no such result."))
        if evaluation.state != State.RETURNED:
            raise Conflict(
                _("This result is %(state)s. Only a returned one can be answered.")
                % {"state": evaluation.get_state_display()},
                state=evaluation.state,
            )
        draft = evaluation.drafts.filter(sent_as__isnull=True).first()
        if draft is not None:
            return draft
        return Draft.objects.create(
            clinic_id=clinic_of(by),
            created_by_id=person_of(by),
            dog=evaluation.dog,
            evaluation=evaluation,
            answers=described_as_body(evaluation),
        )


def save_draft(*, by: Actor, draft_id: str, version: int, answers: Mapping[str, Any]) -> Draft:
    """Keep the answers. Raises Conflict when the draft was changed since ``version`` was shown."""
    require_role(by, Role.CLINIC)
    with transaction.atomic():
        own = Draft.objects.filter(
            public_id=draft_id, clinic_id=clinic_of(by), sent_as__isnull=True
        )
        dog_id = (answers.get("dog") or {}).get("id")
        dog = dog_by_id(dog_id) if dog_id else None
        saved = own.filter(version=version).update(
            answers=dict(answers), dog=dog, version=F("version") + 1, updated_at=clock.now()
        )
        draft = own.select_related("dog", "evaluation").first()
        if draft is None:
            raise NotFound(_("There is no such draft."))
        if not saved:
            raise Conflict(
                _("This draft was changed in another window. Compare, then save it again.")
            )
    return draft


def discard_draft(*, by: Actor, draft_id: str) -> None:
    """Throw an unsent draft away. Its files become loose and are swept after a day."""
    require_role(by, Role.CLINIC)
    own = Draft.objects.filter(public_id=draft_id, clinic_id=clinic_of(by), sent_as__isnull=True)
    if not own.delete()[0]:
        raise NotFound(_("There is no such draft."))


def send_draft(*, by: Actor, draft_id: str) -> Evaluation:
    """Send a draft. Sending the same draft again returns the same evaluation and writes nothing."""
    require_role(by, Role.CLINIC)
    with transaction.atomic():
        own = Draft.objects.filter(public_id=draft_id, clinic_id=clinic_of(by))
        # Claimed first: of two clicks on "send" the second waits here and then finds the first's
        # result.
        own.update(version=F("version") + 1)
        draft = own.select_related("evaluation", "sent_as").first()
        if draft is None:
            raise NotFound(_("There is no such draft."))
        if draft.sent_as is not None:
            return draft.sent_as
        if draft.evaluation is not None:
            return resubmit(
                by=by, evaluation_id=draft.evaluation.public_id, body=draft.answers, draft=draft
            )
        return submit(by=by, body=draft.answers, draft=draft)
