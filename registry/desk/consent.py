"""The owner gives or withholds consent to publish, by their private link; or the clinic notes
it."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from registry import clock
from registry.desk.actor import Actor
from registry.desk.errors import NotFound
from registry.ledger import Change, append
from registry.models import Evaluation


def change_consent(*, by: Actor, evaluation_id: str, publish: bool) -> Evaluation:
    """Set whether the result may be shown. The private link's holder is the authority: no role is
    asked."""
    with transaction.atomic():
        changed = Evaluation.objects.filter(
            public_id=evaluation_id, consent_to_publish=not publish
        ).update(consent_to_publish=publish, consent_changed_at=clock.now())
        evaluation = (
            Evaluation.objects.select_related("dog").filter(public_id=evaluation_id).first()
        )
        if evaluation is None:
            raise NotFound(_("There is no such result."))
        if changed:
            append(
                by=by,
                action="evaluation.consent",
                subject=f"evaluation:{evaluation.public_id}",
                dog=evaluation.dog.public_id,
                changes={"consent_to_publish": Change(not publish, publish)},
            )
    return evaluation
