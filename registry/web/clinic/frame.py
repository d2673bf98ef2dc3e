"""What every page of the clinic's room shares: the role check, the navigation, the own draft."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from registry.desk.actor import Actor, clinic_of
from registry.models import Draft, Evaluation, Role
from registry.queries.clinic_results import draft_of
from registry.web.acting import page_for

clinic_page = page_for(Role.CLINIC)


def framed(current: str, **context: Any) -> dict[str, Any]:
    """The context with the room's navigation; ``current`` names the section shown."""
    sections = [
        (reverse("clinic:home"), _("Your results"), current == "home"),
        (reverse("clinic:identify"), _("New result"), current == "new"),
    ]
    return {"sections": sections, **context}


def own_draft(by: Actor, draft_id: str) -> Draft:
    """The clinic's own draft; another clinic's is as missing as one that never was."""
    draft = draft_of(clinic_of(by), draft_id)
    if draft is None:
        raise Http404
    return draft


def to_sent(request: HttpRequest, sent: Evaluation) -> HttpResponseBase:
    """To the result that a draft became; a form that came too late is not dropped in silence."""
    if request.method == "POST":
        words = _(
            "This result was sent before, so what you filled in now is not part of it. To change"
            " it, withdraw it while it waits and send it anew, or ask the club."
        )
        messages.warning(request, words)
    return redirect("clinic:result", sent.public_id)
