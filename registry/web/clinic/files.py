"""Files of a draft: attach one or many, remove one; and the clinic's own files as downloads."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import FileResponse, Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import evidence as desk
from registry.desk.actor import Actor, clinic_of
from registry.desk.errors import Invalid, NotFound
from registry.models import Draft, Evidence
from registry.queries.clinic_results import file_of
from registry.web.clinic.frame import clinic_page, framed, own_draft, to_sent
from registry.web.clinic.progress import look_at


@require_http_methods(["GET", "POST"])
@clinic_page
def files(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """The list and one box for more; a file that is refused does not lose the others.

    "Go on" takes along what is chosen, so that one film needs one press.
    """
    draft = own_draft(by, draft_id)
    if draft.sent_as is not None:
        return to_sent(request, draft.sent_as)
    problems: list[tuple[str, str]] = []
    if request.method == "POST":
        chosen: list[Any] = request.FILES.getlist("file")
        is_leaving = "go-on" in request.POST
        if not chosen and not is_leaving:
            problems.append(("#file", _("Choose a file first.")))
        problems += _attach(by, draft, chosen)
        if not problems:
            query = "?from=check" if request.GET.get("from") == "check" else ""
            here = reverse("clinic:files", args=[draft_id]) + query
            twice = any(_twins(draft)[item.public_id] for item in draft.evidence.all())
            is_clear = is_leaving and not (chosen and twice)
            return redirect(look_at(draft).next_of(draft, "files") if is_clear else here)
    is_from_check = request.GET.get("from") == "check"
    twins = _twins(draft)
    context = framed(
        "new",
        draft=draft,
        dog=draft.dog,
        files=[(item, twins[item.public_id]) for item in _attached(draft)],
        sent_before=draft.evaluation.evidence.order_by("uploaded_at") if draft.evaluation else [],
        back=reverse(f"clinic:{'check' if is_from_check else 'draft'}", args=[draft.public_id]),
        warnings=look_at(draft).warnings["files"],
        is_marked="files" in look_at(draft).marks,
        problems=problems,
        most_mb=settings.EVIDENCE_MAX_BYTES // 2**20,
    )
    return render(request, "clinic/files.html", context, status=422 if problems else 200)


@require_http_methods(["GET", "POST"])
@clinic_page
def remove(request: HttpRequest, by: Actor, draft_id: str, evidence_id: str) -> HttpResponseBase:
    """Take a file off the draft. A GET comes from a sign-in in between: back to the list."""
    draft = own_draft(by, draft_id)
    if request.method == "POST":
        if not draft.evidence.filter(public_id=evidence_id).exists():
            raise Http404
        try:
            desk.detach(by=by, evidence_id=evidence_id)
        except NotFound as error:
            raise Http404 from error
    return redirect("clinic:files", draft_id)


@require_GET
@clinic_page
def download(request: HttpRequest, by: Actor, evidence_id: str) -> HttpResponseBase:
    """A file of the own clinic, as a download that cannot act in the browser."""
    found = file_of(clinic_of(by), evidence_id)
    if found is None:
        raise Http404
    try:
        file = desk.stored_path(found).open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    response = FileResponse(
        file,
        as_attachment=True,
        filename=desk.download_name(found),
        content_type=found.content_type,
    )
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response


def _attach(by: Actor, draft: Draft, chosen: list[Any]) -> list[tuple[str, str]]:
    """Store each file; what is wrong with one is said with its name."""
    problems = []
    for file in chosen:
        try:
            desk.attach(by=by, chunks=file.chunks(), name=file.name or "", draft_id=draft.public_id)
        except Invalid as error:
            problems.append(("#file", f"{file.name}: {error}"))
        except NotFound as error:
            raise Http404 from error
    return problems


def _attached(draft: Draft) -> list[Evidence]:
    return list(draft.evidence.order_by("uploaded_at", "pk"))


def _twins(draft: Draft) -> dict[str, str]:
    """For each file the name of an earlier one with the same bytes; empty when there is none."""
    first: dict[str, str] = {}
    twins: dict[str, str] = {}
    for item in _attached(draft):
        twins[item.public_id] = first.get(item.sha256, "")
        first.setdefault(item.sha256, item.original_name)
    return twins
