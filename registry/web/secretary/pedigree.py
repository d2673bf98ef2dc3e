"""A pedigree from a file: the template, the dry run with every fault, the file of rows to mend, and
the import."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import pedigree_files as desk
from registry.desk.actor import Actor
from registry.desk.errors import Conflict, Invalid, NotFound
from registry.desk.pedigree_import import Report
from registry.desk.pedigree_rows import COLUMNS, MOST_BYTES
from registry.models import PedigreeFile
from registry.web.deeds import done_from
from registry.web.secretary.frame import framed, secretary_page
from registry.wording.spreadsheets import harmless

_MOST_SHOWN = 200
_EXAMPLE = (
    ("p1", "Example Puppy", "Pip", "", "F", "2023-01-15", "", "brown", "", "", "s1", "d1"),
    ("s1", "Example Sire", "", "", "M", "2018-05-02", "", "", "", "", "", ""),
    ("d1", "Example Dam", "", "", "F", "2.10.2018", "", "", "", "", "", ""),
)


@require_http_methods(["GET", "POST"])
@secretary_page
def send(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """What the file has to look like, and one box to send it."""
    problems: list[tuple[str, str]] = []
    if request.method == "POST":
        sent = request.FILES.get("file")
        try:
            if sent is None:
                raise Invalid.one("/file", _("Choose a file first."))
            file = desk.keep_file(by=by, name=sent.name or "", content=_content(sent))
        except Invalid as error:
            problems = [("#file", problem.message) for problem in error.problems]
        else:
            return redirect("secretary:pedigree-file", file.public_id)
    context = framed("pedigree", problems=problems)
    status = 422 if problems else 200
    return render(request, "secretary/pedigree.html", context, status=status)


@require_GET
@secretary_page
def template(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """A file with the head and three invented dogs."""
    return _csv([COLUMNS, *_EXAMPLE], "pedigree-template.csv")


@require_GET
@secretary_page
def look(request: HttpRequest, by: Actor, file_id: str) -> HttpResponseBase:
    """The dry run."""
    file, report = _through(by, file_id)
    context = framed(
        "pedigree",
        file=file,
        report=report,
        faults=report.faults[:_MOST_SHOWN] if report else (),
        differences=report.differences[:_MOST_SHOWN] if report else (),
        most=_MOST_SHOWN,
    )
    return render(request, "secretary/pedigree_file.html", context)


@require_GET
@secretary_page
def to_mend(request: HttpRequest, by: Actor, file_id: str) -> HttpResponseBase:
    """Only the rows with a fault, with the fault beside them; below, rows that they name as parents
    by key, which are recognised when the mended file is sent."""
    _file, report = _through(by, file_id)
    if report is None or not report.bad:
        raise Http404
    rows = [
        [*(row[column] for column in COLUMNS), str(row.number), _said(report, row.number)]
        for row in (*report.bad, *report.named_by_bad)
    ]
    return _csv([(*COLUMNS, "row", "problem"), *rows], "pedigree-rows-to-mend.csv")


@require_http_methods(["GET", "POST"])
@secretary_page
@done_from("secretary:pedigree-file", "file_id")
def commit(request: HttpRequest, by: Actor, file_id: str) -> HttpResponseBase:
    """Import the rows without a fault."""
    try:
        report = desk.import_file(by=by, file_id=file_id)
    except NotFound as error:
        raise Http404 from error
    except Conflict as error:
        messages.warning(request, str(error))
        return redirect("secretary:pedigree")
    messages.success(
        request,
        _(
            "Imported: %(new)d dogs registered, %(filled)d filled in, %(same)d there already,"
            " %(bad)d left out."
        )
        % {
            "new": len(report.new),
            "filled": len(report.filled),
            "same": len(report.same),
            "bad": len(report.bad),
        },
    )
    return redirect("secretary:pedigree")


def _through(by: Actor, file_id: str) -> tuple[PedigreeFile, Report | None]:
    try:
        return desk.look_through(by=by, file_id=file_id)
    except NotFound as error:
        raise Http404 from error


def _content(sent: UploadedFile[bytes]) -> bytes:
    """The bytes; of a file that is too large one more than may be, so that the desk refuses it."""
    return bytes(sent.read(MOST_BYTES + 1))


def _said(report: Report, number: int) -> str:
    faults = [fault for fault in report.faults if fault.row == number]
    if not faults:
        return _("Nothing is wrong here: a row below names this dog as a parent.")
    return " ".join(
        f"{fault.column}: {fault.message}" if fault.column else fault.message for fault in faults
    )


def _csv(rows: Iterable[Iterable[str]], name: str) -> HttpResponse:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(
        [harmless(cell) for cell in row] for row in rows
    )
    return HttpResponse(
        # With a byte order mark, by which spreadsheets know UTF-8.
        text.getvalue().encode("utf-8-sig"),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
