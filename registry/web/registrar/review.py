"""One result with everything beside it, and the three decisions: approve, return, decline."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import decide
from registry.desk.actor import Actor
from registry.desk.errors import Conflict, DeskError, Invalid, NotFound, Refused
from registry.desk.evidence import download_name, stored_path
from registry.desk.ties import why_not_decide
from registry.models import Evaluation, Evidence, FlagLevel, SecondLook, State
from registry.queries.flag_words import FLAG_NAMES, words_of
from registry.queries.queue import next_waiting, previous_waiting
from registry.queries.reading_words import value_with_unit
from registry.queries.review import evaluation_with_all, review_of
from registry.queries.second_looks import open_looks_of
from registry.queries.timeline import timeline_of
from registry.science.microchip import in_groups
from registry.science.working_days import working_days_between
from registry.telling.facts import age_text
from registry.web.deeds import done_from
from registry.web.forms import PlainForm, set_choices
from registry.web.registrar.frame import framed, registrar_page
from registry.web.timeline import shown_entries
from registry.wording import dates


class ApproveForm(PlainForm):
    """Approval; the reason is asked for only where a check says stop."""

    reason = forms.CharField(
        label=gettext_lazy("Why you approve it although a check says stop"),
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class ReturnForm(PlainForm):
    """Return for correction: a reason, and which fields the clinic should look at."""

    reason = forms.CharField(
        label=gettext_lazy("What is to be corrected, and why"),
        help_text=gettext_lazy("The clinic reads these words in a mail and on its page."),
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": gettext_lazy("Give the reason: the clinic reads it.")},
    )
    fields_to_fix = forms.MultipleChoiceField(
        label=gettext_lazy("Fields to mark for the clinic"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, evaluation: Evaluation, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        set_choices(self, "fields_to_fix", _pointers(evaluation))


class DeclineForm(PlainForm):
    """Decline for good, with a reason."""

    reason = forms.CharField(
        label=gettext_lazy("Why this result cannot be accepted at all"),
        help_text=gettext_lazy("The clinic reads these words in a mail and on its page."),
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": gettext_lazy("Give the reason: the clinic reads it.")},
    )


@dataclass(frozen=True, slots=True)
class Fact:
    """One line of a list of facts."""

    term: str
    value: str
    href: str = ""


@require_GET
@registrar_page
def result(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """The result's page; what can be done with it follows from its state."""
    return _page(request, by, _evaluation(evaluation_id))


@require_http_methods(["GET", "POST"])
@registrar_page
@done_from("registrar:result", "evaluation_id")
def approve(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """Approve and go on to the next one that waits."""
    form = ApproveForm(request.POST, auto_id="approve-%s")
    reason = form.cleaned_data.get("reason", "") if form.is_valid() else ""

    def deed() -> str:
        done = decide.accept(by=by, evaluation_id=evaluation_id, reason=reason)
        if isinstance(done, SecondLook):
            return _("Noted. Another registrar has to confirm it, since a check says stop.")
        return _("Approved. The certificate has the number %(number)s.") % {"number": done.number}

    return _decide(request, by, evaluation_id, deed, form)


@require_http_methods(["GET", "POST"])
@registrar_page
@done_from("registrar:result", "evaluation_id")
def send_back(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """Return for correction and go on."""
    form = ReturnForm(_evaluation(evaluation_id), request.POST, auto_id="return-%s")

    def deed() -> str:
        decide.return_for_correction(
            by=by,
            evaluation_id=evaluation_id,
            reason=form.cleaned_data["reason"],
            fields=form.cleaned_data["fields_to_fix"],
        )
        return _("Returned. The clinic is told by mail.")

    return _decide(request, by, evaluation_id, deed, form)


@require_http_methods(["GET", "POST"])
@registrar_page
@done_from("registrar:result", "evaluation_id")
def decline(request: HttpRequest, by: Actor, evaluation_id: str) -> HttpResponseBase:
    """Decline and go on."""
    form = DeclineForm(request.POST, auto_id="decline-%s")

    def deed() -> str:
        reason = form.cleaned_data["reason"]
        decide.decline(by=by, evaluation_id=evaluation_id, reason=reason)
        return _("Declined. The clinic is told by mail.")

    return _decide(request, by, evaluation_id, deed, form)


@require_GET
@registrar_page
def evidence(request: HttpRequest, by: Actor, evidence_id: str) -> HttpResponseBase:
    """A file as it was sent. Only pictures are shown in the page; all else is a download."""
    found = Evidence.objects.filter(public_id=evidence_id, evaluation__isnull=False).first()
    if found is None:
        raise Http404
    is_picture = found.content_type in ("image/jpeg", "image/png")
    try:
        file = stored_path(found).open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    response = FileResponse(
        file,
        as_attachment=not is_picture,
        filename=download_name(found),
        content_type=found.content_type,
    )
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response


def _decide(
    request: HttpRequest,
    by: Actor,
    evaluation_id: str,
    deed: Callable[[], str],
    form: PlainForm,
) -> HttpResponseBase:
    """Do the deed, or show the page again with what was typed and why it was not done."""
    before = _evaluation(evaluation_id)
    if not form.is_valid():
        return _page(request, by, before, form=form, status=422)
    try:
        done = deed()
    except NotFound as error:
        raise Http404 from error
    except Invalid as error:
        form.add_error("reason", str(error))
        return _page(request, by, before, form=form, status=422)
    except (Conflict, Refused) as error:
        return _page(request, by, _evaluation(evaluation_id), refusal=error, status=409)
    messages.success(request, f"{before.dog.name}: {done}")
    following = next_waiting(before)
    if following is None:
        return redirect("registrar:queue")
    return redirect("registrar:result", following.public_id)


def _page(
    request: HttpRequest,
    by: Actor,
    evaluation: Evaluation,
    *,
    form: PlainForm | None = None,
    refusal: DeskError | None = None,
    status: int = 200,
) -> HttpResponseBase:
    waits = evaluation.state == State.SUBMITTED
    why_not = why_not_decide(by, evaluation)
    flags = [words_of(flag) for flag in evaluation.flags.all()]
    context = framed(
        "waiting" if waits else evaluation.state,
        evaluation=evaluation,
        number=evaluation.certificate.number if hasattr(evaluation, "certificate") else "",
        review=review_of(evaluation),
        facts=_facts(evaluation),
        dog_facts=_dog_facts(evaluation),
        flags=flags,
        passed=_passed({flag.code for flag in flags}),
        has_stop=any(flag.level == FlagLevel.STOP for flag in flags),
        waits=waits,
        why_not=why_not,
        looks=open_looks_of(evaluation),
        is_accepted=evaluation.state in (State.ACCEPTED, State.REPLACED),
        approve=form if isinstance(form, ApproveForm) else ApproveForm(auto_id="approve-%s"),
        give_back=form
        if isinstance(form, ReturnForm)
        else ReturnForm(evaluation, auto_id="return-%s"),
        decline=form if isinstance(form, DeclineForm) else DeclineForm(auto_id="decline-%s"),
        form=form,
        refusal=str(refusal) if refusal else "",
        waiting_days=working_days_between(
            timezone.localdate(evaluation.submitted_at), timezone.localdate()
        ),
        following=next_waiting(evaluation) if waits else None,
        previous=previous_waiting(evaluation) if waits else None,
        entries=shown_entries(timeline_of(f"evaluation:{evaluation.public_id}")),
    )
    return render(request, "registrar/result.html", context, status=status)


def _evaluation(evaluation_id: str) -> Evaluation:
    found = evaluation_with_all(evaluation_id)
    if found is None:
        raise Http404
    return found


def _dog_facts(evaluation: Evaluation) -> list[Fact]:
    dog = evaluation.dog
    return [
        Fact(_("Dog"), dog.name, reverse("registrar:dog", args=[dog.public_id])),
        Fact(_("Breed"), dog.breed.name),
        Fact(_("Sex"), dog.get_sex_display()),
        Fact(_("Born"), dates.day(dog.born_on)),
        Fact(_("Age that day"), _age(evaluation)),
        Fact(_("Colour"), dog.colour),
        Fact(_("Chip"), in_groups(dog.chip or "")),
        Fact(_("Studbook number"), dog.studbook_number),
    ]


def _facts(evaluation: Evaluation) -> list[Fact]:
    conditions = evaluation.conditions
    consent = _("yes") if evaluation.consent_to_publish else _("no")
    owner = evaluation.owner
    return [
        Fact(_("Examined"), dates.day(evaluation.examined_on)),
        Fact(_("Clinic"), evaluation.clinic.name),
        Fact(_("Examiner"), evaluation.examiner),
        Fact(_("Kept still by"), _restraint(conditions.get("restraint", ""))),
        Fact(_("Chip read that day"), _("yes") if conditions.get("chip_read") else _("no")),
        Fact(_("Chip as read"), in_groups(conditions.get("chip_as_read", ""))),
        Fact(_("Weight"), f"{conditions['weight_kg']} kg" if "weight_kg" in conditions else ""),
        *(_reading_fact(reading) for reading in evaluation.readings.all()),
        Fact(_("Owner"), owner.full_name if owner else ""),
        Fact(_("Owner agrees to publish"), consent),
        Fact(_("Sent"), dates.moment(evaluation.submitted_at)),
    ]


def _reading_fact(reading: Any) -> Fact:
    term = reading.trait.name
    if reading.trait.is_per_side:
        term = f"{term}, {reading.get_side_display()}"
    value = value_with_unit(reading)
    if reading.head_radius_mm is not None:
        value += f" ({reading.displacement_mm} mm ÷ {reading.head_radius_mm} mm)"
    return Fact(term, value)


def _restraint(value: str) -> str:
    words = {
        "sedation": _("sedation"),
        "general-anaesthesia": _("general anaesthesia"),
        "none": _("nothing"),
    }
    return words.get(value, value)


def _age(evaluation: Evaluation) -> str:
    born_on, on = evaluation.dog.born_on, evaluation.examined_on
    days = (on - born_on).days
    if days < 0:
        return _("not born yet")
    if days < 7 * 52:
        return ngettext("%(weeks)d week", "%(weeks)d weeks", days // 7) % {"weeks": days // 7}
    return age_text(born_on, on)


def _passed(found: set[str]) -> list[str]:
    """The names of the checks that found nothing."""
    return [str(name) for code, name in FLAG_NAMES.items() if code not in found]


def _pointers(evaluation: Evaluation) -> list[tuple[str, str]]:
    """JSON pointers a clinic can be asked to look at, in the order in which its page shows them."""
    fixed = [
        ("/dog", _("the dog")),
        ("/examined_on", _("day of the examination")),
        ("/examiner", _("examiner")),
        ("/conditions", _("conditions of the examination")),
    ]
    readings = []
    for place, reading in enumerate(evaluation.readings.all()):
        side = f", {reading.get_side_display()}" if reading.trait.is_per_side else ""
        readings.append((f"/readings/{place}", f"{reading.trait.name}{side}"))
    return [*fixed, *readings, ("/evidence", _("files"))]
