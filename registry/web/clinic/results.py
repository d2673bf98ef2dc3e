"""A result that was sent: its reference, what happens next, what became of it, and its
correction."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk.actor import Actor
from registry.desk.drafts import answer_returned
from registry.desk.errors import Conflict, Invalid, NotFound
from registry.desk.submit import withdraw as desk_withdraw
from registry.models import Evaluation, State
from registry.models.moves import MOVES
from registry.queries.review import evaluation_with_all
from registry.queries.timeline import timeline_of
from registry.science.working_days import answer_expected_between
from registry.web.clinic import shown
from registry.web.clinic.drafts import first_marked
from registry.web.clinic.frame import clinic_page, framed
from registry.web.forms import PlainForm
from registry.web.timeline import shown_entries
from registry.wording import dates


class WithdrawForm(PlainForm):
    """Why the result is taken back."""

    reason = forms.CharField(
        label=gettext_lazy("Why you withdraw this result"),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=1000,
        error_messages={"required": gettext_lazy("Say why the result is withdrawn.")},
    )


@require_GET
@clinic_page
def result(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """Everything about one of the clinic's own results."""
    evaluation = _own(by, evaluation_id)
    context = framed(
        "home",
        evaluation=evaluation,
        facts=shown.evaluation_facts(evaluation),
        number=evaluation.certificate.number if hasattr(evaluation, "certificate") else "",
        waits=evaluation.state == State.SUBMITTED,
        is_returned=evaluation.state == State.RETURNED,
        to_fix=[_to_fix(pointer, evaluation) for pointer in evaluation.fields_to_fix],
        **_expected(evaluation),
        files=evaluation.evidence.order_by("uploaded_at"),
        entries=shown_entries(timeline_of(f"evaluation:{evaluation.public_id}")),
    )
    return render(request, "clinic/result.html", context)


@require_GET
@clinic_page
def sent(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """After sending: the reference, what happens next and when. It may be reloaded and kept."""
    evaluation = _own(by, evaluation_id)
    if evaluation.state != State.SUBMITTED:
        return redirect("clinic:result", evaluation_id)
    context = framed("home", evaluation=evaluation, **_expected(evaluation))
    return render(request, "clinic/sent.html", context)


@require_http_methods(["GET", "POST"])
@clinic_page
def correct(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """Open the draft that answers a returned result, at the first part the club marked.

    A GET comes from a sign-in in between and goes back to the result.
    """
    if request.method == "GET":
        return redirect("clinic:result", _own(by, evaluation_id).public_id)
    try:
        draft = answer_returned(by=by, evaluation_id=evaluation_id)
    except NotFound as error:
        raise Http404 from error
    except Conflict as error:
        messages.error(request, str(error))
        return redirect("clinic:result", evaluation_id)
    return redirect(first_marked(draft))


@require_http_methods(["GET", "POST"])
@clinic_page
def withdraw(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """Take back what is not decided yet, with a reason."""
    evaluation = _own(by, evaluation_id)
    if evaluation.state not in MOVES["withdraw"].before:
        messages.error(request, _("This result cannot be withdrawn any more."))
        return redirect("clinic:result", evaluation_id)
    form = WithdrawForm(request.POST if request.method == "POST" else None)
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                reason = form.cleaned_data["reason"]
                desk_withdraw(by=by, evaluation_id=evaluation_id, reason=reason)
            except (Conflict, Invalid) as error:
                form.add_error(None, str(error))
                status = 409
            else:
                messages.success(request, _("The result is withdrawn."))
                return redirect("clinic:result", evaluation_id)
    context = framed("home", evaluation=evaluation, form=form)
    return render(request, "clinic/withdraw.html", context, status=status)


def _own(by: Actor, evaluation_id: str) -> Evaluation:
    evaluation = evaluation_with_all(evaluation_id)
    if evaluation is None or evaluation.clinic_id != by.clinic_pk:
        raise Http404
    return evaluation


def _expected(evaluation: Evaluation) -> dict[str, str]:
    """Between which days an answer is usual."""
    first, last = answer_expected_between(timezone.localdate(evaluation.submitted_at))
    return {"expected_from": dates.day(first), "expected_to": dates.day(last)}


def _to_fix(pointer: str, evaluation: Evaluation) -> str:
    """What a JSON pointer of the registrar's stands for on the clinic's pages."""
    names = {
        "/dog": _("the dog"),
        "/examined_on": _("day of the examination"),
        "/examiner": _("veterinarian"),
        "/conditions": _("how the dog was kept still, chip and weight"),
        "/readings": _("the measurements"),
        "/owner": _("the owner"),
        "/consent_to_publish": _("the owner's consent"),
        "/evidence": _("films and papers"),
    }
    _empty, _member, place = [*pointer.split("/"), "", ""][:3]
    readings = list(evaluation.readings.all())
    if pointer.startswith("/readings") and place.isdecimal() and int(place) < len(readings):
        reading = readings[int(place)]
        side = f", {reading.get_side_display()}" if reading.trait.is_per_side else ""
        words = f"{reading.trait.name}{side}"
    else:
        words = str(names.get(pointer, pointer.strip("/")))
    return _("To look at: %(what)s") % {"what": words}
