"""Files of a draft: attach one or many, remove one; and the clinic's own files as downloads."""

from __future__ import annotations

from typing import Any

from django.http import FileResponse, Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry.desk import evidence as desk
from registry.desk.actor import Actor
from registry.desk.errors import Invalid, NotFound
from registry.models import Evidence
from registry.web.clinic.frame import clinic_page, framed, own_draft


@require_http_methods(["GET", "POST"])
@clinic_page
def files(request: HttpRequest, by: Actor, draft_id: str) -> HttpResponseBase:
    """The list and one box for more; a file that is refused does not lose the others."""
    draft = own_draft(by, draft_id)
    if draft.sent_as is not None:
        return redirect("clinic:result", draft.sent_as.public_id)
    problems: list[tuple[str, str]] = []
    if request.method == "POST":
        sent: list[Any] = request.FILES.getlist("file")
        if not sent:
            problems.append(("#file", _("Choose a file first.")))
        for file in sent:
            try:
                desk.attach(by=by, chunks=file.chunks(), name=file.name or "", draft_id=draft_id)
            except Invalid as error:
                problems.append(("#file", f"{file.name}: {error}"))
            except NotFound as error:
                raise Http404 from error
        if not problems:
            return redirect("clinic:files", draft_id)
    attached = list(draft.evidence.order_by("uploaded_at", "pk"))
    digests = [item.sha256 for item in attached]
    context = framed(
        "new",
        draft=draft,
        dog=draft.dog,
        files=[(item, digests.count(item.sha256) > 1) for item in attached],
        problems=problems,
    )
    return render(request, "clinic/files.html", context, status=422 if problems else 200)


@require_POST
@clinic_page
def remove(request: HttpRequest, by: Actor, draft_id: str, evidence_id: str) -> HttpResponseBase:
    """Take a file off the draft."""
    own_draft(by, draft_id)
    try:
        desk.detach(by=by, evidence_id=evidence_id)
    except NotFound as error:
        raise Http404 from error
    return redirect("clinic:files", draft_id)


@require_GET
@clinic_page
def download(request: HttpRequest, by: Actor, evidence_id: str) -> HttpResponseBase:
    """A file of the own clinic, as a download that cannot act in the browser."""
    found = Evidence.objects.filter(public_id=evidence_id, clinic_id=by.clinic_pk).first()
    if found is None:
        raise Http404
    try:
        file = desk.stored_path(found).open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    response = FileResponse(
        file, as_attachment=True, filename=found.original_name, content_type=found.content_type
    )
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response
