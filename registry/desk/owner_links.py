"""Send an owner the private links to their dogs' results once more."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from registry.desk.actor import Actor, require_role
from registry.desk.errors import NotFound, Refused
from registry.desk.mail import queue
from registry.ledger import Change, append
from registry.models import Evaluation, Owner, Role


def send_links_again(*, by: Actor, owner_id: str) -> int:
    """Queue a mail for each result of the owner that has a certificate, to the address on record.

    Returns how many; raises Refused where there is no address or no such result.
    """
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        owner = Owner.objects.filter(public_id=owner_id, erased_at__isnull=True).first()
        if owner is None:
            raise NotFound(_("There is no such owner."))
        if not owner.email:
            raise Refused(_("No mail address is on record. Add it by “Put the data right” first."))
        results = Evaluation.objects.filter(owner=owner, certificate__isnull=False).order_by("pk")
        for result in results:
            queue(kind="owner-result", to_email=owner.email, evaluation_pk=result.pk)
        if not results:
            raise Refused(_("No result of this owner's dogs is accepted yet, so there is no link."))
        append(
            by=by,
            action="owner.links_sent",
            subject=f"owner:{owner.public_id}",
            changes={"links": Change(None, len(results))},
        )
    return len(results)
