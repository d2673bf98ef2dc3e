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
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry.desk.actor import Actor
from registry.desk.drafts import answer_returned
from registry.desk.errors import Conflict, Invalid, NotFound
from registry.desk.submit import withdraw as desk_withdraw
from registry.models import Evaluation, State
from registry.queries.review import evaluation_with_all
from registry.queries.timeline import timeline_of
from registry.science.working_days import answer_expected_between
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
    first, last = answer_expected_between(timezone.localdate(evaluation.submitted_at))
    context = framed(
        "home",
        evaluation=evaluation,
        number=evaluation.certificate.number if hasattr(evaluation, "certificate") else "",
        waits=evaluation.state == State.SUBMITTED,
        is_returned=evaluation.state == State.RETURNED,
        to_fix=[_pointer_words(pointer, evaluation) for pointer in evaluation.fields_to_fix],
        expected_from=dates.day(first),
        expected_to=dates.day(last),
        files=evaluation.evidence.order_by("uploaded_at"),
        entries=shown_entries(timeline_of(f"evaluation:{evaluation.public_id}")),
    )
    return render(request, "clinic/result.html", context)


@require_POST
@clinic_page
def correct(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """Open the draft that answers a returned result."""
    try:
        draft = answer_returned(by=by, evaluation_id=evaluation_id)
    except NotFound as error:
        raise Http404 from error
    except Conflict as error:
        messages.error(request, str(error))
        return redirect("clinic:result", evaluation_id)
    return redirect("clinic:draft", draft.public_id)


@require_http_methods(["GET", "POST"])
@clinic_page
def withdraw(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """Take back what is not decided yet, with a reason."""
    evaluation = _own(by, evaluation_id)
    form = WithdrawForm(request.POST or None)
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


def _pointer_words(pointer: str, evaluation: Evaluation) -> str:
    """What a JSON pointer of the registrar's stands for on the clinic's pages."""
    names = {
        "/dog": _("the dog"),
        "/examined_on": _("day of the examination"),
        "/examiner": _("veterinarian"),
        "/conditions": _("conditions of the examination"),
        "/evidence": _("files"),
    }
    _empty, _member, place = [*pointer.split("/"), "", ""][:3]
    readings = list(evaluation.readings.all())
    if place.isdecimal() and int(place) < len(readings):
        reading = readings[int(place)]
        side = f", {reading.get_side_display()}" if reading.trait.is_per_side else ""
        return f"{reading.trait.name}{side}"
    return names.get(pointer, pointer)
