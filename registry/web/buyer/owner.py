"""The owner's private link: their dog's result, shown to everyone or not, and their say in it.

Whoever holds the link is the owner to us: the signed token cannot be guessed. It is also what keeps
another site from posting in the owner's name, so no cookie is needed. The page tells no other site
where the reader came from, and asks search engines to stay away.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_safe

from registry.desk.actor import Actor
from registry.desk.consent import change_consent
from registry.desk.mail import evaluation_id_of
from registry.models import Evaluation, State
from registry.queries.public import CertificateRecord, certificate_record
from registry.science.numbers import format_number
from registry.telling.papers import certificate_pdf as pdf_of
from registry.web.buyer.certificate_page import sections_of
from registry.wording import dates


@dataclass(frozen=True, slots=True)
class OwnerPage:
    """Everything the private page says."""

    dog: str
    state: str
    state_word: str
    examined: str
    clinic: str
    number: str
    certificate_href: str
    pdf_href: str
    sections: tuple[SafeString, ...]
    may_decide: bool
    is_shown: bool


@login_not_required
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def result(request: HttpRequest, token: str) -> HttpResponseBase:
    """Show the result; POST ``publish=yes`` or ``publish=no`` gives or withholds consent."""
    evaluation = _evaluation(token)
    if evaluation is None:
        return render(request, "buyer/no_owner.html", status=404)
    if request.method == "POST":
        answer = request.POST.get("publish")
        if answer in {"yes", "no"} and evaluation.state in _SHOWABLE:
            change_consent(
                by=Actor.system(via="web", request_id=getattr(request, "request_id", "")),
                evaluation_id=evaluation.public_id,
                publish=answer == "yes",
            )
        return _private(redirect("buyer:owner", token))
    context = {"page": _page(evaluation, token), "here": request.path}
    return _private(render(request, "buyer/owner.html", context))


@login_not_required
@require_safe
def certificate_pdf(_request: HttpRequest, token: str) -> HttpResponseBase:
    """The owner's sheet, shown to everyone or not."""
    evaluation = _evaluation(token)
    record = _record(evaluation) if evaluation else None
    if record is None:
        raise Http404
    headers = {"Content-Disposition": f'inline; filename="{record.number}.pdf"'}
    return _private(
        HttpResponse(pdf_of(record).data, content_type="application/pdf", headers=headers)
    )


_SHOWABLE = (State.ACCEPTED, State.REPLACED)


def _evaluation(token: str) -> Evaluation | None:
    """The evaluation of a genuine link."""
    public_id = evaluation_id_of(token)
    found = Evaluation.objects.select_related("dog", "clinic", "certificate")
    return found.filter(public_id=public_id).first() if public_id else None


def _record(evaluation: Evaluation) -> CertificateRecord | None:
    certificate = getattr(evaluation, "certificate", None)
    return certificate_record(certificate.number, for_owner=True) if certificate else None


def _page(evaluation: Evaluation, token: str) -> OwnerPage:
    record = _record(evaluation)
    words = {
        State.SUBMITTED: _("The club is looking at it"),
        State.RETURNED: _("The clinic was asked to put something right"),
        State.ACCEPTED: _("Accepted by the club"),
        State.DECLINED: _("The club could not accept it"),
        State.REPLACED: (
            _("Replaced by a corrected result")
            if record and record.is_corrected
            else _("Replaced by a newer result")
        ),
        State.REVOKED: _("Taken back by the club"),
        State.WITHDRAWN: _("The clinic took it back"),
    }
    state = State(evaluation.state)
    return OwnerPage(
        dog=evaluation.dog.name,
        state=state.value,
        state_word=words[state],
        examined=dates.day(evaluation.examined_on),
        clinic=evaluation.clinic.name,
        number=format_number(record.number) if record else "",
        certificate_href=f"/C/{record.number}" if record else "",
        pdf_href=f"/owner/{token}/certificate.pdf" if record else "",
        sections=sections_of(record, timezone.now()) if record else (),
        may_decide=state in _SHOWABLE,
        is_shown=evaluation.consent_to_publish,
    )


def _private(response: HttpResponseBase) -> HttpResponseBase:
    """Keep the link out of caches, logs of other sites and search engines."""
    response.headers["Cache-Control"] = "private, no-store"
    response.headers["Referrer-Policy"] = "no-referrer"
    response.headers["X-Robots-Tag"] = "noindex, nofollow"
    return response
