"""What every page of the registrar's room shares: the role check and the room's own navigation."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from registry.models import Role
from registry.web.acting import page_for

registrar_page = page_for(Role.REGISTRAR)


def framed(current: str, **context: Any) -> dict[str, Any]:
    """The context with the room's navigation; ``current`` names the section shown."""
    queue = reverse("registrar:queue")
    sections = [
        (queue, _("Waiting"), current == "waiting"),
        (f"{queue}?state=returned", _("Returned"), current == "returned"),
        (f"{queue}?state=accepted", _("Accepted"), current == "accepted"),
        (reverse("registrar:clinics"), _("Clinics"), current == "clinics"),
        (reverse("buyer:breeds"), _("Breeds"), False),
    ]
    return {"sections": sections, **context}
