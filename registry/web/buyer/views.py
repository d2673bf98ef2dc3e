"""Look-up, certificates and dogs: parse, read, render. Each page's content is made elsewhere."""

from __future__ import annotations

import re
from datetime import datetime
from functools import lru_cache
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.template.loader import get_template
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from registry.paper.qr import qr_code, qr_svg
from registry.queries.certificate_rows import CertificateRows, certificate_rows
from registry.queries.public import certificate_record
from registry.queries.public_dogs import dog_with_chip, merged_into, public_dog
from registry.queries.search import find_by_chip_end, find_dogs
from registry.science.microchip import ChipProblem, parse_chip, parse_to_compare
from registry.science.numbers import LENGTH, NumberProblem, format_number, parse_number
from registry.telling.papers import certificate_pdf as pdf_of
from registry.web.buyer.budget import TooOftenError, count, count_chip, counted, too_often
from registry.web.buyer.certificate_page import Asked, certificate_page, look_of
from registry.web.buyer.dog_page import dog_page
from registry.web.buyer.open_page import open_page
from registry.web.buyer.remembered import day_of_reading
from registry.web.context import Site, site
from registry.wording.verdicts import not_found, slip, unknown_number

_MOST_FOUND = 20
_LONGEST_QUERY = 120


@open_page
def look_up(request: HttpRequest) -> HttpResponseBase:
    """The first page: one box for a name, a chip or a certificate number."""
    return render(request, "buyer/look_up.html", {"current": "look-up"})


@open_page
def find(request: HttpRequest) -> HttpResponseBase:
    """Lead from what was typed to the certificate or the dog, or list the dogs with such a name."""
    typed = " ".join(request.GET.get("q", "").split())[:_LONGEST_QUERY]
    if not typed:
        return redirect("buyer:look-up")
    try:
        number = parse_number(typed)
    except NumberProblem as problem:
        hint = slip(problem.code, len(_symbols(typed))) if _is_like_a_number(typed) else ""
    else:
        dog_id = request.GET.get("dog", "")
        there = reverse("buyer:certificate", args=[number])
        return redirect(f"{there}?{urlencode({'dog': dog_id})}" if dog_id else there)
    try:
        chip = parse_chip(typed, allow_test=True)
    except ChipProblem as problem:
        count(request)
        if len(re.sub(r"\D", "", typed)) > LENGTH:
            hint = str(problem)
    else:
        count_chip(request, chip.text15)
        found = dog_with_chip(chip.text15)
        if found:
            return redirect("buyer:dog", found)
        hint = _("No dog with this chip is in this register. Compare it digit by digit.")
    dogs = find_by_chip_end(typed, _MOST_FOUND) or find_dogs(typed, _MOST_FOUND)
    context = {"typed": typed, "dogs": dogs, "hint": hint, "current": "look-up"}
    return render(request, "buyer/found.html", context)


# Nothing is changed and nobody is signed in here, so there is nothing to forge: no token, and with
# it no cookie.
@csrf_exempt
@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def certificate(request: HttpRequest, typed: str) -> HttpResponseBase:
    """A certificate; by POST compared with a chip as read, so that no address holds its digits."""
    return (_compared if request.method == "POST" else _shown)(request, typed)


@open_page
def _shown(request: HttpRequest, typed: str) -> HttpResponseBase:
    """A certificate; ``?dog=`` compares it with the dog that the reader came from."""
    try:
        number = parse_number(typed)
    except NumberProblem as problem:
        return _no_certificate(request, typed, slip(problem.code, len(_symbols(typed))))
    if number != typed:
        return redirect("buyer:certificate", number, permanent=True)
    rows = certificate_rows(number, now=timezone.now())
    if rows is None:
        return _no_certificate(request, format_number(number), unknown_number())
    today = day_of_reading(timezone.localtime())
    if other := _other_dog(request.GET.get("dog", ""), rows.certificate[15]):
        count(request)
        return HttpResponse(_markup(rows, today, site(), Asked(dog=other)))
    return HttpResponse(_kept_markup(rows, today, site(), get_language()))


@never_cache
def _compared(request: HttpRequest, typed: str) -> HttpResponseBase:
    """A certificate held against the chip that a reader typed; each look is counted."""
    try:
        number = parse_number(typed)
        rows = certificate_rows(number, now=timezone.now())
    except NumberProblem:
        rows = None
    if rows is None:
        return redirect("buyer:certificate", typed)
    said = " ".join(request.POST.get("chip", "").split())[:_LONGEST_QUERY]
    try:
        asked, status = Asked(digits=parse_to_compare(said)), 200
    except ChipProblem as problem:
        asked, status = Asked(typed=said, problem=str(problem)), 422
    try:
        count_chip(request, asked.digits)
    except TooOftenError as problem:
        return too_often(request, problem)
    today = day_of_reading(timezone.localtime())
    return HttpResponse(_markup(rows, today, site(), asked), status=status)


@lru_cache(maxsize=settings.SECTIONS_KEPT)
def _kept_markup(rows: CertificateRows, today: datetime, where: Site, _language: str | None) -> str:
    """A certificate's page. The rows are read anew for every request, so it is never out of date;
    what a reader asks about stays out, so that no asking drives pages out."""
    return _markup(rows, today, where, Asked())


def _markup(rows: CertificateRows, today: datetime, where: Site, asked: Asked) -> str:
    page = certificate_page(rows, now=today, asked=asked)
    return get_template("buyer/certificate.html").render({"page": page, "site": where})


@open_page
def certificate_elsewhere(_request: HttpRequest, typed: str) -> HttpResponseBase:
    """Other spellings of a certificate's address: small c, a slash at the end."""
    return redirect("buyer:certificate", typed, permanent=True)


@open_page
@counted
def certificate_pdf(_request: HttpRequest, typed: str) -> HttpResponseBase:
    """The certificate's sheet; what the owner has not released has none for the public."""
    record = certificate_record(_sound(typed))
    if record is None or not record.is_released:
        raise Http404
    pdf = pdf_of(record)
    return HttpResponse(
        pdf.data,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{record.number}.pdf"'},
    )


@open_page
def certificate_code(_request: HttpRequest, typed: str) -> HttpResponseBase:
    """The QR code of a certificate's address; it depends on the number alone."""
    number = _sound(typed)
    svg = qr_svg(qr_code(f"{site().url}/C/{number}"), title=format_number(number))
    return HttpResponse(
        svg, content_type="image/svg+xml", headers={"Cache-Control": "public, max-age=31536000"}
    )


@open_page
def dog(request: HttpRequest, public_id: str) -> HttpResponseBase:
    """A dog with its results, its family, and what changed; a merged entry leads to its dog."""
    found = public_dog(public_id)
    if found is None:
        if heir := merged_into(public_id):
            return redirect("buyer:dog", heir, permanent=True)
        raise Http404
    return render(request, "buyer/dog.html", {"page": dog_page(found)})


@open_page
def help_page(request: HttpRequest) -> HttpResponseBase:
    """How to read a result, what genuine means, whom to ask."""
    return render(request, "buyer/help.html", {"current": "help"})


@open_page
def privacy(request: HttpRequest) -> HttpResponseBase:
    """What this site keeps of its readers and of owners."""
    return render(request, "buyer/privacy.html")


def _no_certificate(request: HttpRequest, typed: str, what_to_check: str) -> HttpResponse:
    count(request)
    verdict = not_found(what_to_check)
    context = {"typed": typed[:_LONGEST_QUERY], "verdict": verdict, "look": look_of(verdict)}
    return render(request, "buyer/no_certificate.html", context, status=404)


def _sound(typed: str) -> str:
    """The number as it is stored, or 404."""
    try:
        return parse_number(typed)
    except NumberProblem as problem:
        raise Http404 from problem


def _other_dog(public_id: str, own_id: str) -> str:
    """The name of the dog the reader came from, when it is not the certificate's own."""
    if not public_id or public_id == own_id:
        return ""
    if merged_into(public_id) == own_id:
        return ""
    other = public_dog(public_id)
    return other.name if other else ""


def _symbols(typed: str) -> str:
    return re.sub(r"[\W_]", "", typed)


def _is_like_a_number(typed: str) -> bool:
    """Whether a slip in a certificate number is likelier than a name: digits among ten letters."""
    symbols = _symbols(typed)
    has_digit = any(sign.isdigit() for sign in symbols)
    return has_digit and LENGTH - 2 <= len(symbols) <= LENGTH + 2 and len(typed.split()) <= 3
