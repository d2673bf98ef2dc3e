"""After acceptance: revoke a result, or replace it by a corrected one. Both want a reason."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from registry.desk import revoke as desk
from registry.desk.actor import Actor
from registry.desk.errors import Conflict, Invalid, Refused
from registry.desk.second_look import drop
from registry.desk.submit import described_as_body
from registry.desk.ties import why_not_decide
from registry.models import Evaluation, SecondDeed, SecondLook, State
from registry.queries.review import evaluation_with_all
from registry.queries.second_looks import open_look
from registry.web.forms import PlainDateField, PlainForm, posted
from registry.web.registrar.frame import framed, registrar_page


class ReasonForm(PlainForm):
    """Why."""

    reason = forms.CharField(
        label=gettext_lazy("The reason"),
        help_text=gettext_lazy("It stands on the certificate's page, where anybody can read it."),
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={
            "required": gettext_lazy("Give the reason: it stands on the certificate's page.")
        },
    )


class LeaveForm(PlainForm):
    """Why not."""

    reason = forms.CharField(
        label=gettext_lazy("Why it is left as it is"),
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": gettext_lazy("Say why it is left as it is.")},
    )


class ReplaceForm(ReasonForm):
    """The corrected answers, filled with what stands now; one or two boxes for each reading."""

    examined_on = PlainDateField(label=gettext_lazy("Examined on"))
    examiner = forms.CharField(label=gettext_lazy("Examiner"), max_length=120)

    def __init__(self, evaluation: Evaluation, *args: Any, **kwargs: Any) -> None:
        self._readings = described_as_body(evaluation)["readings"]
        kwargs["initial"] = {
            "examined_on": evaluation.examined_on,
            "examiner": evaluation.examiner,
        }
        super().__init__(*args, **kwargs)
        for place, reading in enumerate(evaluation.readings.all()):
            side = f", {reading.get_side_display()}" if reading.trait.is_per_side else ""
            body = self._readings[place]
            for member, words in (
                ("head_radius_mm", _("head radius in mm")),
                ("displacement_mm", _("displacement in mm")),
                ("value", _("value")),
            ):
                if member in body:
                    self.fields[f"readings-{place}-{member}"] = forms.CharField(
                        label=f"{reading.trait.name}{side}: {words}",
                        initial=body[member],
                        max_length=12,
                        widget=forms.TextInput(
                            attrs={"inputmode": "decimal", "autocomplete": "off"}
                        ),
                    )
        self.order_fields([name for name in self.fields if name != "reason"] + ["reason"])

    def changes(self) -> dict[str, Any]:
        """The members of the REST body as they should read."""
        readings = [
            {
                member: self.cleaned_data.get(f"readings-{place}-{member}", value)
                for member, value in body.items()
            }
            for place, body in enumerate(self._readings)
        ]
        return {
            "examined_on": self.cleaned_data["examined_on"].isoformat(),
            "examiner": self.cleaned_data["examiner"],
            "readings": readings,
        }

    def add_problem(self, pointer: str, message: str) -> None:
        """Put the desk's fault at the field it is about, or above all of them."""
        name = pointer.strip("/").replace("/", "-")
        self.add_error(name if name in self.fields else None, message)


@require_http_methods(["GET", "POST"])
@registrar_page
def revoke(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """Say what revoking means, ask for the reason, revoke."""
    evaluation = _accepted(evaluation_id)
    look = open_look(evaluation, SecondDeed.REVOKE)
    # The second registrar may put the first one's words better: theirs are published.
    form = ReasonForm(posted(request), initial={"reason": look.reason if look else ""})
    refusal, status = why_not_decide(by, evaluation), 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                reason = form.cleaned_data["reason"]
                done = desk.revoke(by=by, evaluation_id=evaluation_id, reason=reason)
            except (Conflict, Refused) as error:
                refusal, status = str(error), 409
            except Invalid as error:
                form.add_error("reason", str(error))
            else:
                messages.success(
                    request,
                    _("Noted. It is revoked once another registrar confirms it.")
                    if isinstance(done, SecondLook)
                    else _("Revoked. Clinic and owner are told by mail."),
                )
                return redirect("registrar:result", evaluation_id)
    context = framed("accepted", evaluation=evaluation, form=form, refusal=refusal, look=look)
    return render(request, "registrar/revoke.html", context, status=status)


@require_http_methods(["GET", "POST"])
@registrar_page
def leave(request: HttpRequest, by: Actor, look_id: str) -> HttpResponseBase:
    """Leave a result as it is, against a registrar's wish."""
    look = SecondLook.objects.select_related("evaluation__dog", "asked_by")
    found = look.filter(public_id=look_id, settled_at__isnull=True).first()
    if found is None:
        raise Http404
    form = LeaveForm(posted(request))
    refusal, status = why_not_decide(by, found.evaluation), 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                drop(by=by, look_id=look_id, reason=form.cleaned_data["reason"])
            except (Conflict, Refused) as error:
                refusal, status = str(error), 409
            except Invalid as error:
                form.add_error("reason", str(error))
            else:
                messages.success(request, _("It is left as it is."))
                return redirect("registrar:result", found.evaluation.public_id)
    context = framed("waiting", look=found, form=form, refusal=refusal)
    return render(request, "registrar/leave.html", context, status=status)


@require_http_methods(["GET", "POST"])
@registrar_page
def replace(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """Show what stands, take what should stand, issue a new certificate."""
    evaluation = _accepted(evaluation_id)
    form = ReplaceForm(evaluation, posted(request))
    refusal, status = why_not_decide(by, evaluation), 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                certificate = desk.replace(
                    by=by,
                    evaluation_id=evaluation_id,
                    changes=form.changes(),
                    reason=form.cleaned_data["reason"],
                )
            except (Conflict, Refused) as error:
                refusal, status = str(error), 409
            except Invalid as error:
                for problem in error.problems:
                    form.add_problem(problem.pointer, problem.message)
            else:
                messages.success(request, _("Replaced. Clinic and owner are told by mail."))
                return redirect("registrar:result", certificate.evaluation.public_id)
    context = framed("accepted", evaluation=evaluation, form=form, refusal=refusal)
    return render(request, "registrar/replace.html", context, status=status)


def _accepted(evaluation_id: str) -> Evaluation:
    evaluation = evaluation_with_all(evaluation_id)
    if evaluation is None or evaluation.state not in (State.ACCEPTED, State.REPLACED):
        raise Http404
    return evaluation
