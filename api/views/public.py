"""What everybody may read: certificates, distributions, breeds and traits."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import HttpResponse
from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime
from django.utils.translation import gettext as _
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.problems import Unreadable
from api.reading import query_of
from api.schema import documented, parameter
from api.shapes import dogs as dog_shapes
from api.shapes import public
from api.tokens import PUBLIC
from api.view import ApiView
from registry.desk.errors import NotFound
from registry.models import Breed, Trait
from registry.queries.distributions import distribution
from registry.queries.public import CertificateRecord, certificate_record
from registry.science.numbers import NumberProblem, parse_number
from registry.telling.credentials import credential
from registry.telling.papers import certificate_pdf

_NUMBER = parameter("number", "path", "as printed; groups and small letters are fine")


class PdfRenderer(BaseRenderer):
    """Lets a caller ask for PDF; the view makes the bytes itself."""

    media_type = "application/pdf"
    format = "pdf"
    charset = None
    render_style = "binary"

    def render(self, data: Any, *_args: Any, **_kwargs: Any) -> Any:
        """Problems of a caller that takes only PDF are JSON all the same."""
        return JSONRenderer().render(data)


class Certificate(ApiView):
    """A certificate: verdict, dog, readings, standings, family and cautions."""

    scopes = {"GET": PUBLIC}

    @documented("Read a certificate", answer="Certificate", parameters=[_NUMBER])
    def get(self, request: Request, number: str) -> Response:
        """Answer what the certificate's page answers: the same verdict, the same numbers."""
        query_of(request)
        return Response(public.certificate(_record(number)))


class CertificatePdf(ApiView):
    """A certificate as a sheet of paper."""

    scopes = {"GET": PUBLIC}
    renderer_classes = (PdfRenderer, JSONRenderer)

    @documented("Read a certificate's sheet", binary="application/pdf", parameters=[_NUMBER])
    def get(self, request: Request, number: str) -> HttpResponse:
        """Answer the PDF; a result that is not released has none."""
        query_of(request)
        record = _record(number)
        if not record.is_released:
            raise NotFound(_("There is no such certificate."))
        return HttpResponse(
            certificate_pdf(record).data,
            content_type="application/pdf",
            headers={"Content-Disposition": f'attachment; filename="{record.number}.pdf"'},
        )


class Credential(ApiView):
    """A certificate as a file that proves itself."""

    scopes = {"GET": PUBLIC}

    @documented(
        "Read a certificate's signed file",
        answer={"type": "object", "description": "a W3C Verifiable Credential, Data Model 2.0"},
        parameters=[_NUMBER],
    )
    def get(self, request: Request, number: str) -> Response:
        """Answer the credential; a result that is not released has none."""
        query_of(request)
        record = _record(number)
        if not record.is_released:
            raise NotFound(_("There is no such certificate."))
        return Response(credential(record))


class DistributionOf(ApiView):
    """The counts of a trait in a breed."""

    scopes = {"GET": PUBLIC}

    @documented(
        "Read a distribution",
        answer="Distribution",
        parameters=[
            parameter("breed", "path", "slug of a breed"),
            parameter("trait", "path", "slug of a trait"),
            parameter("sex", "query", "F or M; without it both", enum=["F", "M"]),
            parameter("as_of", "query", "a past day or instant, e.g. 2026-10-02"),
        ],
    )
    def get(self, request: Request, breed: str, trait: str) -> Response:
        """Answer the exact counts, today or as they were served at a past instant."""
        query = query_of(request, "sex", "as_of")
        sex = query.get("sex", "")
        if sex not in ("", "F", "M") or (not sex and "sex" in query):
            raise Unreadable("sex", _("Give F or M, or leave it out."))
        as_of = _instant(query["as_of"]) if "as_of" in query else None
        of_breed = Breed.objects.filter(slug=breed).first()
        of_trait = Trait.objects.filter(slug=trait, is_counted=True).first()
        if of_breed is None or of_trait is None:
            raise NotFound(_("There is no such distribution."))
        found = distribution(breed=of_breed, trait=of_trait, sex=sex, as_of=as_of)
        return Response(public.distribution(of_breed, of_trait, found, is_past=as_of is not None))


class Breeds(ApiView):
    """The breeds of the register."""

    scopes = {"GET": PUBLIC}

    @documented("List the breeds", answer={"type": "array", "items": dog_shapes.BREED})
    def get(self, request: Request) -> Response:
        """Answer all of them; a club has few."""
        query_of(request)
        return Response([dog_shapes.breed(each) for each in Breed.objects.all()])


class Traits(ApiView):
    """The traits of the register."""

    scopes = {"GET": PUBLIC}

    @documented("List the traits", answer={"type": "array", "items": dog_shapes.TRAIT})
    def get(self, request: Request) -> Response:
        """Answer all of them with their scales and guidance points."""
        query_of(request)
        return Response([dog_shapes.trait(each) for each in Trait.objects.all()])


def _record(number: str) -> CertificateRecord:
    try:
        record = certificate_record(parse_number(number))
    except NumberProblem as problem:
        raise NotFound(_("There is no such certificate.")) from problem
    if record is None:
        raise NotFound(_("There is no such certificate."))
    return record


def _instant(text: str) -> datetime:
    """A past instant; of a day its end, when everything of the day had been decided."""
    try:
        instant = parse_datetime(text) if "T" in text or " " in text else None
        day = None if instant else parse_date(text)
        if day is not None:
            instant = datetime(day.year, day.month, day.day, 23, 59, 59, 999_999)  # noqa: DTZ001
    except ValueError:
        instant = None
    if instant is None or not 1980 <= instant.year <= 9000:
        raise Unreadable("as_of", _("Give a day or an instant, like 2026-10-02."))
    return instant if timezone.is_aware(instant) else timezone.make_aware(instant)
