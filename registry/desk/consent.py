"""The owner gives or withholds consent to publish, by their private link; or the clinic notes
it."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from registry import clock
from registry.desk.actor import Actor
from registry.desk.counting import hold_dog_of
from registry.desk.errors import NotFound
from registry.desk.public_states import StateKey, settle_states
from registry.ledger import Change, append
from registry.models import CountedValue, Evaluation


def change_consent(*, by: Actor, evaluation_id: str, publish: bool) -> Evaluation:
    """Set whether the result may be shown. The private link's holder is the authority: no role is
    asked.

    The value goes on counting. What the public sees of the counts holds it further on, but from now
    on it comes and goes alone or with others, as the owner wishes.
    """
    with transaction.atomic():
        hold_dog_of(evaluation_id)
        now = clock.now()
        changed = Evaluation.objects.filter(
            public_id=evaluation_id, consent_to_publish=not publish
        ).update(consent_to_publish=publish, consent_changed_at=now)
        evaluation = (
            Evaluation.objects.select_related("dog").filter(public_id=evaluation_id).first()
        )
        if evaluation is None:
            raise NotFound(_("There is no such result."))
        if changed:
            counted = CountedValue.objects.filter(evaluation=evaluation)
            keys = counted.values_list("breed_id", "trait_id").distinct()
            settle_states((StateKey(*row) for row in keys), at=now)
            append(
                by=by,
                action="evaluation.consent",
                subject=f"evaluation:{evaluation.public_id}",
                dog=evaluation.dog.public_id,
                changes={"consent_to_publish": Change(not publish, publish)},
            )
    return evaluation
