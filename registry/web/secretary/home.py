"""The overview, and the mail that waits or went out."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk.actor import Actor
from registry.desk.mail import deliver_waiting
from registry.models import OutboxMail
from registry.queries.office import Office, office_today
from registry.web.secretary.frame import framed, secretary_page

_FEWEST_OF_A_ROLE = 2


@require_GET
@secretary_page
def home(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Numbers, and sentences about what needs a hand."""
    office = office_today()
    context = framed("home", office=office, needs=_needs(office))
    return render(request, "secretary/home.html", context)


@require_http_methods(["GET", "POST"])
@secretary_page
def mail(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Every mail with its state; a button tries the waiting ones again."""
    if request.method == "POST":
        sent, waiting = deliver_waiting()
        messages.info(
            request,
            _("%(sent)d sent now, %(waiting)d still waiting.") % {"sent": sent, "waiting": waiting},
        )
        return redirect("secretary:mail")
    mails = OutboxMail.objects.select_related("evaluation__dog").order_by("-created_at", "-pk")
    page = Paginator(mails, 50).get_page(request.GET.get("page"))
    waiting = OutboxMail.objects.filter(sent_at__isnull=True).count()
    context = framed("mail", page=page, waiting=waiting)
    return render(request, "secretary/mail.html", context)


def _needs(office: Office) -> list[str]:
    needs = []
    if office.registrars < _FEWEST_OF_A_ROLE:
        needs.append(
            _("Fewer than two registrars: nobody can decide on the one registrar's own results.")
        )
    if office.secretaries < _FEWEST_OF_A_ROLE:
        needs.append(_("There is one secretary only. Appoint a second one, for days of illness."))
    if office.mail_waiting:
        needs.append(
            ngettext(
                "%(count)d mail has not gone out yet.",
                "%(count)d mails have not gone out yet.",
                office.mail_waiting,
            )
            % {"count": office.mail_waiting}
        )
    return needs
