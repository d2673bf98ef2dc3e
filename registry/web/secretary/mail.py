"""The mail that waits or went out, a button that tries again, and one that sends a test mail."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from registry.desk.actor import Actor
from registry.desk.errors import Refused
from registry.desk.mail import deliver_waiting, send_test
from registry.models import OutboxMail
from registry.web.secretary.frame import framed, secretary_page

_ON_A_PAGE = 50


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
    page = Paginator(mails, _ON_A_PAGE).get_page(request.GET.get("page"))
    waiting = OutboxMail.objects.filter(sent_at__isnull=True).count()
    context = framed("mail", page=page, waiting=waiting)
    return render(request, "secretary/mail.html", context)


@require_POST
@secretary_page
def test(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Send a mail to the secretary's own address now, and say what the mail server did."""
    try:
        sent = send_test(by=by)
    except Refused as error:
        messages.error(request, str(error))
    else:
        if sent.problem:
            words = _("The mail to %(address)s could not be sent: %(problem)s")
            messages.error(request, words % {"address": sent.address, "problem": sent.problem})
        elif sent.is_kept_here:
            words = _("This is a trial: the mail to %(address)s was kept on this computer.")
            messages.info(request, words % {"address": sent.address})
        else:
            words = _("The mail server took the mail to %(address)s. Look whether it arrives.")
            messages.success(request, words % {"address": sent.address})
    return redirect("secretary:mail")
