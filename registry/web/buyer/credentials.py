"""Certificates that prove themselves, for everybody: the file, the club's keys, the status lists,
what the names in a file mean, and the page on which a file is checked.
"""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from registry.credential.certificate import MOST_BYTES, PURPOSES
from registry.credential.context import LATEST, VERSIONS, context_document, path_of
from registry.paper.attachment import (
    MOST_PDF_BYTES,
    AttachmentProblem,
    BusyError,
    attached_file,
    is_pdf,
)
from registry.queries.public import certificate_record
from registry.science.numbers import NumberProblem, format_number, parse_number
from registry.telling.credentials import FileVerdict, credential_text, verdict_on_file
from registry.telling.credentials import status_credential as status_list_now
from registry.telling.issuer import issuer_document
from registry.telling.vocabulary import told_terms
from registry.web.buyer.budget import TooOftenError, count, counted, too_often
from registry.web.buyer.certificate_page import look_of
from registry.web.buyer.open_page import open_page
from registry.wording import dates

CREDENTIAL_TYPE = "application/vc"


@open_page
@counted
def credential(_request: HttpRequest, typed: str) -> HttpResponseBase:
    """The certificate as a signed file; what the owner has not released has none."""
    try:
        record = certificate_record(parse_number(typed))
    except NumberProblem as problem:
        raise Http404 from problem
    if record is None or not record.is_released:
        raise Http404
    return HttpResponse(
        credential_text(record),
        content_type=CREDENTIAL_TYPE,
        headers={"Content-Disposition": f'attachment; filename="{record.number}.json"'},
    )


@open_page
def issuer(_request: HttpRequest) -> HttpResponseBase:
    """The club's public keys."""
    return JsonResponse(issuer_document(), content_type="application/cid")


@open_page
def status(_request: HttpRequest, purpose: str, block: int) -> HttpResponseBase:
    """A status list of this moment; it may be kept for a minute."""
    if purpose not in PURPOSES or block >= 10_000:
        raise Http404
    return JsonResponse(
        status_list_now(purpose, block),
        content_type=CREDENTIAL_TYPE,
        headers={"Cache-Control": "public, max-age=60"},
    )


@open_page
def context(_request: HttpRequest, version: int) -> HttpResponseBase:
    """What the names in a file mean, for programs of any site: a version never changes."""
    if version not in VERSIONS:
        raise Http404
    return JsonResponse(
        context_document(settings.SITE_URL, version=version),
        content_type="application/ld+json",
        headers={
            "Cache-Control": "public, max-age=31536000, immutable",
            "Access-Control-Allow-Origin": "*",
        },
    )


@open_page
def vocabulary(request: HttpRequest) -> HttpResponseBase:
    """The same for people: each name has its place on the page."""
    return render(
        request, "buyer/vocabulary.html", {"terms": told_terms(), "context": path_of(LATEST)}
    )


# Nothing is changed and nobody is signed in here, so there is nothing to forge: no token, and with
# it no cookie.
@csrf_exempt
@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def check(request: HttpRequest) -> HttpResponseBase:
    """A file or a PDF in, one of the six verdicts out; nothing of it is kept."""
    context: dict[str, Any] = {"current": "", "verdict": None, "problem": ""}
    status = 200
    if request.method == "POST":
        try:
            count(request)
            context |= _checked(request.FILES.get("file"))
        except TooOftenError as problem:
            return too_often(request, problem)
        except AttachmentProblem as problem:
            context["problem"], status = _(str(problem)), 400
        except BusyError:
            context["problem"] = _("Another PDF is being read just now. Send yours again.")
            status = 503
    return render(request, "buyer/check_file.html", context, status=status)


def _checked(file: UploadedFile[Any] | None) -> dict[str, Any]:
    """The verdict on what was sent; raises AttachmentProblem for what cannot be checked."""
    if file is None or file.size is None:
        raise AttachmentProblem("Choose the file of a certificate first.")
    data = file.read() if file.size <= MOST_PDF_BYTES else b""
    if is_pdf(data):
        found = verdict_on_file(attached_file(data, most_bytes=MOST_BYTES))
        return {**_answer(found), "is_from_pdf": True}
    if file.size > MOST_BYTES:
        raise AttachmentProblem(
            "This file is too large for a certificate. Choose its PDF as the club made it, or the"
            " file that ends in .json."
        )
    return {**_answer(verdict_on_file(data)), "is_from_pdf": False}


def _answer(found: FileVerdict) -> dict[str, Any]:
    record = found.record
    return {
        "verdict": found.verdict,
        "look": look_of(found.verdict),
        "number": format_number(record.number) if record else "",
        "href": f"/C/{record.number}" if record else "",
        "dog": record.dog.name if record else "",
        "lines": found.log_size,
        "facts": found.facts,
        "besides": found.besides,
        "today": dates.day(timezone.localdate()),
    }
