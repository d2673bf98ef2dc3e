"""Evidence files: send one, read it again, take an unsent one back."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator, Mapping
from typing import IO, Any, cast

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.utils.translation import gettext as _
from rest_framework.parsers import BaseParser, MultiPartParser
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.problems import TooLarge
from api.reading import once_per_key, query_of
from api.schema import KEY, documented, parameter
from api.shapes import evaluations as shapes
from api.tokens import actor_of
from api.view import ApiView
from registry.desk import evidence as desk
from registry.desk.actor import Actor, clinic_of, require_role
from registry.desk.errors import Invalid, NotFound
from registry.desk.replay import Answer
from registry.models import Evidence, Role

_ID = parameter("public_id", "path", "the file's id")
_CHUNK = 256 * 1024
_RAW = ("application/octet-stream", "image/jpeg", "image/png", "application/pdf",
        "application/dicom")  # fmt: skip
_BYTES = {"type": "string", "format": "binary"}


class _RawParser(BaseParser):
    """A file as the whole body, kept in a temporary file until it is stored."""

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Return the temporary file, at its beginning."""
        kept = tempfile.TemporaryFile()  # noqa: SIM115 - the view reads it after this returns
        size = 0
        while chunk := stream.read(_CHUNK):
            size += len(chunk)
            if size > settings.EVIDENCE_MAX_BYTES:
                kept.close()
                raise TooLarge(_("The file is too large."))
            kept.write(chunk)
        kept.seek(0)
        return kept


def _raw_parsers() -> list[type[BaseParser]]:
    return [type("RawParser", (_RawParser,), {"media_type": kind}) for kind in _RAW]


class _AnyRenderer(BaseRenderer):
    """Whatever the caller asks for: the view hands out the bytes as they are."""

    media_type = "*/*"
    format = "bytes"

    def render(self, data: Any, *_args: Any, **_kwargs: Any) -> Any:
        """Problems are JSON all the same."""
        return JSONRenderer().render(data)


class SendEvidence(ApiView):
    """Files of the caller's clinic."""

    scopes = {"POST": "evaluations:write"}
    parser_classes = (MultiPartParser, *_raw_parsers())

    @documented(
        "Send an evidence file",
        answer="Evidence",
        status=201,
        bodies={
            "multipart/form-data": {
                "type": "object", "properties": {"file": _BYTES}, "required": ["file"],
            },
            **dict.fromkeys(_RAW, _BYTES),
        },
        parameters=[parameter("name", "query", "the file's name, when the body is the file"), KEY],
        curl='curl -H "Authorization: Bearer $TOKEN" -F file=@hips.jpg "$SITE/api/v1/evidence"',
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """Store a JPEG, PNG, PDF or DICOM file; name its id in an evaluation within a day."""
        query = query_of(request, "name")
        by = actor_of(request)
        if int(request.META.get("CONTENT_LENGTH") or 0) > settings.EVIDENCE_MAX_BYTES + _CHUNK:
            raise TooLarge(_("The file is too large."))
        file, name = _file_of(request.data)
        name = query.get("name", name)
        digest = hashlib.sha256(name.encode())
        for chunk in _chunks(file):
            digest.update(chunk)

        def deed() -> Answer:
            stored = desk.attach(by=by, chunks=_chunks(file), name=name)
            return Answer(201, shapes.evidence(stored, None))

        try:
            return once_per_key(request, deed, body_hash=digest.hexdigest())
        finally:
            file.close()


class OneEvidence(ApiView):
    """What is known of a file."""

    scopes = {"GET": "evaluations:read", "DELETE": "evaluations:write"}

    @documented("Read what is known of a file", answer="Evidence", parameters=[_ID])
    def get(self, request: Request, public_id: str) -> Response:
        """Answer digest, size and type."""
        query_of(request)
        found = _evidence(actor_of(request), public_id)
        return Response(shapes.evidence(found, found.evaluation))

    @documented("Take an unsent file back", status=204, parameters=[_ID])
    def delete(self, request: Request, public_id: str) -> Response:
        """Remove a file that no evaluation names yet; what was sent stays."""
        query_of(request)
        desk.detach(by=actor_of(request), evidence_id=public_id)
        return Response(status=204)


class EvidenceContent(ApiView):
    """The bytes of a file."""

    scopes = {"GET": "evaluations:read"}
    renderer_classes = (JSONRenderer, _AnyRenderer)

    @documented("Read a file", binary="application/octet-stream", parameters=[_ID])
    def get(self, request: Request, public_id: str) -> HttpResponse:
        """Answer the bytes as a download that no browser will open in place."""
        query_of(request)
        found = _evidence(actor_of(request), public_id)
        ending = {"image/jpeg": "jpg", "image/png": "png", "application/pdf": "pdf"}
        name = f"{found.public_id}.{ending.get(found.content_type, 'dcm')}"
        response = HttpResponse(
            desk.stored_path(found).read_bytes(),
            content_type="application/octet-stream",
            headers={
                "Content-Disposition": f'attachment; filename="{name}"',
                "X-Content-Type-Options": "nosniff",
            },
        )
        response._csp_replace = {"default-src": ["'none'"], "sandbox": [""]}  # type: ignore[attr-defined]  # noqa: SLF001 - django-csp's own switch
        return response


def _file_of(data: Any) -> tuple[IO[bytes], str]:
    """The file of a multipart form, or the body itself, and its name."""
    if not hasattr(data, "getlist"):
        if not hasattr(data, "read"):
            raise Invalid.one("/file", _("The file is empty. Choose the file again."))
        return cast("IO[bytes]", data), "file"
    files = [each for each in data.getlist("file") if isinstance(each, UploadedFile)]
    if len(files) != 1:
        raise Invalid.one("/file", _("Send one file, in the field named file."))
    return cast("IO[bytes]", files[0]), files[0].name or "file"


def _chunks(file: IO[bytes]) -> Iterator[bytes]:
    file.seek(0)
    while chunk := file.read(_CHUNK):
        yield chunk


def _evidence(by: Actor, public_id: str) -> Evidence:
    """The clinic's own file, or for a registrar one that an evaluation names."""
    require_role(by, Role.CLINIC, Role.REGISTRAR)
    rows = Evidence.objects.select_related("evaluation").filter(public_id=public_id)
    if by.role == Role.CLINIC:
        rows = rows.filter(clinic_id=clinic_of(by))
    else:
        rows = rows.filter(evaluation__isnull=False)
    found = rows.first()
    if found is None:
        raise NotFound(_("There is no such file."))
    return found
