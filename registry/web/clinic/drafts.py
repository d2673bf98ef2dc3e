"""A draft: its task list, its sections, the last look before it is sent, and throwing it away."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import drafts as desk
from registry.desk.actor import Actor
from registry.desk.answers import read_answers
from registry.desk.errors import Conflict, Invalid, NotFound, Problem
from registry.models import Draft, Trait
from registry.web.clinic.frame import clinic_page, framed, own_draft
from registry.web.clinic.sections import (
    ExaminationForm,
    MeasurementsForm,
    OwnerForm,
    SectionForm,
)
from registry.wording import dates

_SECTIONS = {
    "examination": ("/examined_on", "/examiner", "/conditions"),
    "measurements": ("/readings",),
    "owner": ("/owner", "/consent_to_publish"),
    "files": ("/evidence",),
}


@require_GET
@clinic_page
def tasks(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """The sections with their states; a draft that was sent leads to its result."""
    draft = own_draft(by, draft_id)
    if draft.sent_as is not None:
        return redirect("clinic:result", draft.sent_as.public_id)
    context = framed("new", draft=draft, dog=draft.dog, tasks=_tasks(draft))
    return render(request, "clinic/draft.html", context)


@require_http_methods(["GET", "POST"])
@clinic_page
def examination(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """When, by whom, how."""
    draft = own_draft(by, draft_id)
    shown = {**ExaminationForm.shown(draft.answers), "version": draft.version}
    form = ExaminationForm(request.POST or None, initial=shown)
    title = _("The examination")
    return _section(request, by, draft, form, name="examination", title=title)


@require_http_methods(["GET", "POST"])
@clinic_page
def measurements(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """What was read on each side."""
    draft = own_draft(by, draft_id)
    shown = {**MeasurementsForm.shown(draft.answers), "version": draft.version}
    form = MeasurementsForm(list(Trait.objects.all()), request.POST or None, initial=shown)
    title = _("The measurements")
    return _section(request, by, draft, form, name="measurements", title=title)


@require_http_methods(["GET", "POST"])
@clinic_page
def owner(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """Whose dog, and the consent."""
    draft = own_draft(by, draft_id)
    shown = {**OwnerForm.shown(draft.answers), "version": draft.version}
    form = OwnerForm(request.POST or None, initial=shown)
    return _section(request, by, draft, form, name="owner", title=_("Owner and consent"))


@require_http_methods(["GET", "POST"])
@clinic_page
def check(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """Every answer once more; the button sends. Sent twice, it is still one result."""
    draft = own_draft(by, draft_id)
    problems: list[Problem] = []
    if request.method == "POST":
        try:
            evaluation = desk.send_draft(by=by, draft_id=draft_id)
        except Invalid as error:
            problems = error.problems
        except Conflict as error:
            problems = [Problem("", str(error))]
        else:
            return redirect("clinic:result", evaluation.public_id)
    elif draft.sent_as is not None:
        return redirect("clinic:result", draft.sent_as.public_id)
    context = framed(
        "new",
        draft=draft,
        dog=draft.dog,
        parts=_parts(draft),
        files=draft.evidence.order_by("uploaded_at"),
        problems=[(_where(draft, problem.pointer), problem.message) for problem in problems],
    )
    return render(request, "clinic/check.html", context, status=422 if problems else 200)


@require_http_methods(["GET", "POST"])
@clinic_page
def discard(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """Throw the draft away, after asking."""
    draft = own_draft(by, draft_id)
    if request.method == "POST":
        try:
            desk.discard_draft(by=by, draft_id=draft_id)
        except NotFound as error:
            raise Http404 from error
        messages.success(request, _("The draft is thrown away."))
        return redirect("clinic:home")
    return render(request, "clinic/discard.html", framed("new", draft=draft, dog=draft.dog))


def _section(
    request: HttpRequest,
    by: Actor,
    draft: Draft,
    form: SectionForm,
    *,
    name: str,
    title: str,
) -> HttpResponseBase:
    """Show a section; when it was sent, keep it and go on. Faults the desk sees are shown at
    once."""
    if draft.sent_as is not None:
        return redirect("clinic:result", draft.sent_as.public_id)
    status, problems, refusal = 200, list[tuple[str, str]](), ""
    if request.method == "POST":
        status = 422
        if form.is_valid():
            answers = form.put_into(draft.answers)  # type: ignore[attr-defined]
            try:
                desk.save_draft(
                    by=by,
                    draft_id=draft.public_id,
                    version=form.cleaned_data["version"],
                    answers=answers,
                )
            except Conflict as error:
                status, refusal = 409, str(error)
            else:
                wrong = _wrong_in(answers, name)
                if not wrong:
                    back = "check" if request.GET.get("from") == "check" else "draft"
                    return redirect(f"clinic:{back}", draft.public_id)
                # Kept all the same: nothing typed is lost, and the task list says there is a
                # problem.
                problems = [("", problem.message) for problem in wrong]
                form.data = {**form.data, "version": str(draft.version + 1)}
    context = framed(
        "new",
        draft=draft,
        dog=draft.dog,
        form=form,
        title=title,
        name=name,
        problems=problems,
        refusal=refusal,
        groups=form.groups() if isinstance(form, MeasurementsForm) else [],
        now=_parts(own_draft(by, draft.public_id)) if refusal else [],
    )
    return render(request, "clinic/section.html", context, status=status)


def _wrong_in(answers: dict[str, Any], section: str) -> list[Problem]:
    """The desk's faults that belong to a section."""
    try:
        read_answers(answers, traits={trait.slug: trait for trait in Trait.objects.all()})
    except Invalid as error:
        return [
            problem for problem in error.problems if problem.pointer.startswith(_SECTIONS[section])
        ]
    return []


def _tasks(draft: Draft) -> list[dict[str, str]]:
    labels = {
        "examination": _("Examination"),
        "measurements": _("Measurements"),
        "owner": _("Owner and consent"),
    }
    listed = [
        {
            "href": "",
            "label": _("Dog: %(name)s") % {"name": draft.dog.name if draft.dog else _("none")},
            "hint": "",
            "state": "completed" if draft.dog else "not-started",
        }
    ]
    for name, label in labels.items():
        listed.append(
            {
                "href": reverse(f"clinic:{name}", args=[draft.public_id]),
                "label": label,
                "hint": "",
                "state": _state(draft, name),
            }
        )
    listed.append(
        {
            "href": reverse("clinic:files", args=[draft.public_id]),
            "label": _("Files"),
            "hint": _("Films and papers that back the result"),
            "state": "completed" if draft.evidence.exists() else "not-started",
        }
    )
    done = all(_state(draft, name) == "completed" for name in labels)
    listed.append(
        {
            "href": reverse("clinic:check", args=[draft.public_id]) if done else "",
            "label": _("Check and send"),
            "hint": "",
            "state": "not-started" if done else "cannot-start",
        }
    )
    return listed


def _state(draft: Draft, section: str) -> str:
    begun = any(pointer.strip("/") in draft.answers for pointer in _SECTIONS[section])
    if not begun:
        return "not-started"
    return "problem" if _wrong_in(draft.answers, section) else "completed"


def _parts(draft: Draft) -> list[tuple[str, list[dict[str, str]]]]:
    """The answers by section, each with where it is changed."""
    answers = draft.answers
    conditions, person = answers.get("conditions", {}), answers.get("owner", {})
    words = {"yes": _("yes"), "no": _("no"), True: _("yes"), False: _("no")}
    shown = ExaminationForm.shown(answers)
    rows: dict[str, list[tuple[str, str]]] = {
        "examination": [
            (_("Day of the examination"), _day(answers.get("examined_on", ""))),
            (_("Veterinarian"), answers.get("examiner", "")),
            (_("Kept still by"), conditions.get("restraint", "").replace("-", " ")),
            (_("Chip read"), words.get(shown["chip_read"] or "", "")),
            (_("Chip as read"), conditions.get("chip_as_read", "")),
            (_("Weight in kilograms"), conditions.get("weight_kg", "")),
        ],
        "measurements": _reading_rows(answers.get("readings", [])),
        "owner": [
            (_("Owner"), person.get("full_name", "")),
            (_("Mail address"), person.get("email", "")),
            (_("Agrees to publish"), words.get(answers.get("consent_to_publish"), "")),
        ],
    }
    titles = {
        "examination": _("Examination"),
        "measurements": _("Measurements"),
        "owner": _("Owner and consent"),
    }
    return [
        (
            title,
            [
                {
                    "term": term,
                    "value": value,
                    "href": "",
                    "hidden": "",
                    "change": reverse(f"clinic:{name}", args=[draft.public_id]) + "?from=check",
                }
                for term, value in rows[name]
            ],
        )
        for name, title in titles.items()
    ]


def _reading_rows(readings: list[dict[str, str]]) -> list[tuple[str, str]]:
    names = dict(Trait.objects.values_list("slug", "name"))
    sides = {"left": _("left"), "right": _("right"), "whole": _("whole dog")}
    rows = []
    for reading in readings:
        value = reading.get("value", "")
        if "head_radius_mm" in reading or "displacement_mm" in reading:
            lengths = (
                f"{reading.get('displacement_mm', '?')} ÷ {reading.get('head_radius_mm', '?')}"
            )
            value = f"{value} ({lengths} mm)" if value else f"{lengths} mm"
        term = f"{names.get(reading['trait'], reading['trait'])}, {sides[reading['side']]}"
        rows.append((term, value))
    return rows or [(_("Measurements"), "")]


def _where(draft: Draft, pointer: str) -> str:
    """The section's page for a fault."""
    for name, pointers in _SECTIONS.items():
        if pointer.startswith(pointers):
            return reverse(f"clinic:{name}", args=[draft.public_id]) + "?from=check"
    return ""


def _day(iso: str) -> str:
    try:
        return dates.day(dates.dt.date.fromisoformat(iso))
    except ValueError:
        return iso
