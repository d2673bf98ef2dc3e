"""A draft: its task list, the last look before it is sent, and throwing it away."""

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
from registry.desk.errors import Conflict, Invalid, NotFound, Problem
from registry.models import Draft
from registry.queries.clinic_results import traits_by_slug
from registry.web.clinic import shown
from registry.web.clinic.frame import clinic_page, framed, own_draft
from registry.web.clinic.progress import SECTIONS, Look, look_at, page_of, section_of


@require_GET
@clinic_page
def tasks(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """The sections with their states; a draft that was sent leads to its result."""
    draft = own_draft(by, draft_id)
    if draft.sent_as is not None:
        return redirect("clinic:result", draft.sent_as.public_id)
    context = framed("new", draft=draft, dog=draft.dog, tasks=_tasks(draft, look_at(draft)))
    return render(request, "clinic/draft.html", context)


@require_http_methods(["GET", "POST"])
@clinic_page
def check(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """Every answer once more; the button sends. Sent twice, it is still one result."""
    draft = own_draft(by, draft_id)
    look = look_at(draft)
    problems: list[Problem] = []
    if request.method == "POST":
        problems = (
            [] if draft.sent_as else [fault for each in look.faults.values() for fault in each]
        )
        if not problems:
            try:
                evaluation = desk.send_draft(by=by, draft_id=draft_id)
            except Invalid as error:
                problems = error.problems
            except Conflict as error:
                problems = [Problem("", str(error))]
            else:
                return redirect("clinic:sent", evaluation.public_id)
    elif draft.sent_as is not None:
        return redirect("clinic:result", draft.sent_as.public_id)
    traits = traits_by_slug()
    context = framed(
        "new",
        draft=draft,
        dog_facts=_dog_facts(draft),
        parts=[
            (shown.titles()[section], shown.section_facts(section, draft, look, traits))
            for section in ("examination", "measurements", "owner")
        ],
        files=draft.evidence.order_by("uploaded_at", "pk"),
        sent_before=draft.evaluation.evidence.order_by("uploaded_at") if draft.evaluation else [],
        files_href=page_of("files", draft, from_check=True),
        warnings=[each for section in SECTIONS for each in look.warnings.get(section, [])],
        can_be_sent=look.can_be_sent,
        to_fix=_marked_places(draft, look),
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
    if draft.sent_as is not None:
        return redirect("clinic:result", draft.sent_as.public_id)
    return render(request, "clinic/discard.html", framed("new", draft=draft, dog=draft.dog))


def first_marked(draft: Draft) -> str:
    """Where the answer to a returned result begins: at the first part the club marked."""
    for section in look_at(draft).marks:
        return page_of(section, draft, from_check=True)
    return reverse("clinic:check", args=[draft.public_id])


def _tasks(draft: Draft, look: Look) -> list[dict[str, str]]:
    titles, traits = shown.titles(), traits_by_slug()
    dog_words = [draft.dog.name, draft.dog.get_sex_display()] if draft.dog else []
    listed = [
        {
            "href": page_of("dog", draft),
            "label": titles["dog"],
            "hint": ", ".join(map(str, dog_words)),
            "state": "completed" if draft.dog else "not-started",
        }
    ]
    for section in SECTIONS:
        hint = shown.hint_of(section, draft, look, traits)
        if section in look.marks:
            hint = " ".join([_("The club asks you to look at this."), hint]).strip()
        listed.append(
            {
                "href": page_of(section, draft),
                "label": titles[section],
                "hint": hint,
                "state": look.states[section],
            }
        )
    listed.append(
        {
            "href": reverse("clinic:check", args=[draft.public_id]) if look.can_be_sent else "",
            "label": _("Check and send"),
            "hint": "",
            "state": "not-started" if look.can_be_sent else "cannot-start",
        }
    )
    return listed


def _dog_facts(draft: Draft) -> list[dict[str, str]]:
    if draft.dog is None:
        return [{"term": _("Dog"), "value": "", "change": page_of("dog", draft)}]
    first, *rest = shown.dog_facts(draft.dog)
    return [{**first, "change": page_of("dog", draft), "hidden": _("the dog")}, *rest]


def _marked_places(draft: Draft, look: Look) -> list[tuple[str, str]]:
    """The parts that the club marked, with their pages."""
    titles = shown.titles()
    return [
        (page_of(section, draft, box_name=names[0], from_check=True), titles[section])
        for section, names in look.marks.items()
    ]


def _where(draft: Draft, pointer: str) -> str:
    section: Any = section_of(pointer)
    return page_of(section, draft, from_check=True) if section else ""
