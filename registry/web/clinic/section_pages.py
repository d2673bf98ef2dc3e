"""The pages of a draft's sections: keep what was typed, say what is wrong or unusual, go on.

Two windows may hold the same draft. Where they changed different sections both stand; where they
changed the same one, the second is shown both values before anything is overwritten.
"""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponseBase, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from registry.desk.actor import Actor, clinic_of, person_of
from registry.desk.drafts import save_draft
from registry.desk.errors import Conflict
from registry.models import Draft
from registry.queries.clinic_results import last_examiner, traits_by_slug
from registry.web.clinic import shown
from registry.web.clinic.frame import clinic_page, framed, own_draft, to_sent
from registry.web.clinic.measurements import MeasurementsForm
from registry.web.clinic.progress import Look, look_at, page_of
from registry.web.clinic.sections import ExaminationForm, OwnerForm, SectionForm
from registry.web.forms import posted


@require_http_methods(["GET", "POST"])
@clinic_page
def examination(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """When, by whom, how. The examiner of the last result is offered."""
    draft = own_draft(by, draft_id)
    boxes = ExaminationForm.shown(draft.answers)
    if not boxes["examiner"]:
        boxes["examiner"] = last_examiner(clinic_of(by), person_of(by))
    form = ExaminationForm(posted(request), initial=_initial(ExaminationForm, draft, boxes))
    return _section(request, by, draft, form)


@require_http_methods(["GET", "POST"])
@clinic_page
def measurements(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """What was read on each side."""
    draft = own_draft(by, draft_id)
    boxes = MeasurementsForm.shown(draft.answers)
    initial = _initial(MeasurementsForm, draft, boxes)
    form = MeasurementsForm(list(traits_by_slug().values()), posted(request), initial=initial)
    return _section(request, by, draft, form)


@require_http_methods(["GET", "POST"])
@clinic_page
def owner(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """Whose dog, and the consent."""
    draft = own_draft(by, draft_id)
    initial = _initial(OwnerForm, draft, OwnerForm.shown(draft.answers))
    form = OwnerForm(posted(request), initial=initial)
    return _section(request, by, draft, form)


def _initial(kind: type[SectionForm], draft: Draft, boxes: dict[str, Any]) -> dict[str, Any]:
    seen = look_at(draft).warned(kind.section)
    return {**boxes, "base": kind.digest(draft.answers), "seen": seen}


def _section(request: HttpRequest, by: Actor, draft: Draft, form: SectionForm) -> HttpResponseBase:
    """Show a section; when it was sent, keep it all the same and say what is wrong with it."""
    if draft.sent_as is not None:
        return to_sent(request, draft.sent_as)
    if request.method != "POST":
        return _page(request, draft, form)
    form.is_valid()
    try:
        draft = _keep(by, draft, form)
    except Conflict as error:
        return _both(request, by, draft.public_id, form, str(error))
    look = look_at(draft)
    for fault in look.faults[form.section]:
        name = form.box_at(fault.pointer)
        if name is None or not form.has_error(name):
            form.add_error(name, fault.message)
    if form.errors:
        _renew(form, draft)
        return _page(request, draft, form, look=look, status=422)
    return redirect(_next(request, draft, form, look))


def _next(request: HttpRequest, draft: Draft, form: SectionForm, look: Look) -> str:
    """Where to go on; the section once more when it has warnings that were not shown yet."""
    is_from_check = request.GET.get("from") == "check"
    warned = look.warned(form.section)
    if warned and warned != form.data.get("seen"):
        return page_of(form.section, draft, from_check=is_from_check)
    if is_from_check:
        return reverse("clinic:check", args=[draft.public_id])
    return look.next_of(draft, form.section)


def _keep(by: Actor, draft: Draft, form: SectionForm) -> Draft:
    """Save the section over what the draft holds now; Conflict when another window changed it."""
    answers = form.put_into(draft.answers)
    if answers == draft.answers:
        return draft
    if form.data.get("base") != form.digest(draft.answers):
        raise Conflict(_("This part was changed in another window. Compare, then keep one."))
    return save_draft(by=by, draft_id=draft.public_id, version=draft.version, answers=answers)


def _both(
    request: HttpRequest, by: Actor, draft_id: str, form: SectionForm, refusal: str
) -> HttpResponseBase:
    """The values of the other window beside those typed here; keeping again overwrites."""
    current = own_draft(by, draft_id)
    if current.sent_as is not None:
        return to_sent(request, current.sent_as)
    typed = own_draft(by, draft_id)
    typed.answers = form.put_into(current.answers)
    traits = traits_by_slug()
    theirs = shown.plain_facts(form.section, current, look_at(current), traits)
    ours = shown.plain_facts(form.section, typed, look_at(typed), traits)
    there = {fact["term"]: fact["value"] for fact in theirs}
    here = {fact["term"]: fact["value"] for fact in ours}
    nothing = _("nothing")
    rows = [
        [term, there.get(term) or nothing, here.get(term) or nothing]
        for term in dict.fromkeys([*there, *here])
        if there.get(term) != here.get(term)
    ]
    _renew(form, current)
    return _page(request, current, form, refusal=refusal, rows=rows, status=409)


def _renew(form: SectionForm, draft: Draft) -> None:
    """Let the form, shown again, stand on what the draft holds now."""
    data = QueryDict(mutable=True)
    data.update(form.data)
    data["base"] = form.digest(draft.answers)
    data["seen"] = look_at(draft).warned(form.section)
    form.data = data


def _page(
    request: HttpRequest,
    draft: Draft,
    form: SectionForm,
    *,
    look: Look | None = None,
    status: int = 200,
    **extra: Any,
) -> HttpResponseBase:
    look = look or look_at(draft)
    marked = look.marks.get(form.section, [])
    for name in marked:
        if name in form.fields:
            field = form.fields[name]
            field.help_text = format_html(
                "<strong>{}</strong> {}", _("The club asks you to look at this."), field.help_text
            )
    back = "check" if request.GET.get("from") == "check" else "draft"
    context = framed(
        "new",
        draft=draft,
        dog=draft.dog,
        form=form,
        section=form.section,
        title=shown.titles()[form.section],
        back=reverse(f"clinic:{back}", args=[draft.public_id]),
        groups=_groups(form, look) if isinstance(form, MeasurementsForm) else [],
        age=shown.age_text(draft.dog, look.answers.examined_on),
        warnings=[] if form.errors else look.warnings.get(form.section, []),
        is_marked=bool(marked),
        refusal=extra.get("refusal", ""),
        rows=extra.get("rows", []),
    )
    return render(request, "clinic/section.html", context, status=status)


def _groups(form: MeasurementsForm, look: Look) -> list[dict[str, Any]]:
    """Each trait with its boxes, left before right; the lengths are folded away while empty."""
    computed = {
        reading.trait.slug: True
        for reading in look.answers.readings
        if reading.head_radius_mm is not None
    }
    groups = []
    for trait in form.traits:
        fields = form.fields_of(trait, ("value",))
        lengths = form.fields_of(trait, ("head_radius_mm", "displacement_mm"))
        words = [
            f"{reading.side.label} {shown.reading_text(reading)}"
            for reading in look.answers.readings
            if reading.trait == trait
        ]
        groups.append(
            {
                "trait": trait,
                "fields": fields,
                "lengths": lengths,
                "is_open": any(field.value() or field.errors for field in lengths),
                "computed": ", ".join(words) if trait.slug in computed else "",
            }
        )
    return groups
