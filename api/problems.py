"""Every refusal as RFC 9457 problem details, whoever raised it: the desk, the framework, Django.

``type`` is ``about:blank`` where the status says it all, and an address below ``/api/v1/docs`` for
the problems of this registry. No body repeats what was sent, so that no secret comes back, and none
depends on whose object was asked for.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from django.conf import settings
from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.core.signals import got_request_exception
from django.http import Http404, HttpRequest
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework import exceptions
from rest_framework.response import Response

from registry.desk import errors
from registry.interruptions import RETRY_AFTER_SECONDS, passes
from registry.ledger.append import instant_text

logger = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"


class TooLarge(exceptions.APIException):
    """The body is larger than this address takes."""

    status_code = 413
    default_code = "too-large"


class Unreadable(exceptions.ParseError):
    """A header or query parameter that cannot be read; ``parameter`` names it."""

    def __init__(self, parameter: str, detail: str) -> None:
        super().__init__(detail)
        self.parameter = parameter


def problem(
    status: int,
    detail: str,
    *,
    kind: str = "",
    title: str = "",
    headers: Mapping[str, str] | None = None,
    **members: Any,
) -> Response:
    """One problem as a response; ``members`` are extension members of RFC 9457 section 3.2."""
    body = {
        "type": f"{settings.SITE_URL}/api/v1/docs#{kind}" if kind else "about:blank",
        "title": title or HTTPStatus(status).phrase,
        "status": status,
        "detail": str(detail),
        **members,
    }
    return Response(body, status, headers=dict(headers or {}), content_type=MEDIA_TYPE)


_OF_DJANGO = (
    (Http404, 404, gettext_lazy("There is nothing at this address.")),
    (PermissionDenied, 403, gettext_lazy("You may not do this.")),
    (RequestDataTooBig, 413, gettext_lazy("The request is too large.")),
    (SuspiciousOperation, 400, gettext_lazy("The request cannot be read.")),
)


def answer(error: Exception, context: Mapping[str, Any]) -> Response:
    """The exception handler of the framework: an answer for every exception there is."""
    if isinstance(error, errors.DeskError):
        return _of_desk(error)
    if isinstance(error, Unreadable):
        faults = [{"parameter": error.parameter, "detail": str(error.detail)}]
        return problem(400, str(error.detail), errors=faults)
    if isinstance(error, exceptions.APIException):
        return _of_framework(error, context["view"])
    for kind, status, words in _OF_DJANGO:
        if isinstance(error, kind):
            return problem(status, str(words))
    return _of_fault(error, context["request"])


def _of_desk(error: errors.DeskError) -> Response:
    if isinstance(error, errors.Invalid):
        faults = [
            {"pointer": fault.pointer, "detail": str(fault.message)} for fault in error.problems
        ]
        detail = _("The request was understood, but %(count)d of its fields cannot be taken.")
        return problem(
            422,
            detail % {"count": len(faults)},
            kind="invalid",
            title=_("Fields to put right"),
            errors=faults,
        )
    if isinstance(error, errors.Conflict):
        facts = {"state": error.state, "who": error.who}
        members: dict[str, Any] = {name: value for name, value in facts.items() if value}
        if error.at is not None:
            members["since"] = instant_text(error.at)
        return problem(
            409, str(error), kind="conflict", title=_("Somebody else was first"), **members
        )
    if isinstance(error, errors.KeyReused):
        return problem(422, str(error), kind="key-reused", title=_("Key used before"))
    if isinstance(error, errors.NotFound):
        return problem(404, str(error))
    return problem(403, str(error))


def _of_framework(error: exceptions.APIException, view: Any) -> Response:
    headers = {}
    if header := getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = header
    if wait := getattr(error, "wait", None):
        headers["Retry-After"] = str(max(1, round(wait)))
    detail = error.detail if isinstance(error.detail, str) else error.default_detail
    detail = _how_to_ask(error, view) or str(detail)
    return problem(error.status_code, detail, headers=headers)


def _how_to_ask(error: exceptions.APIException, view: Any) -> str:
    """What the address takes instead, where the framework only says what it does not take."""
    if isinstance(error, exceptions.MethodNotAllowed):
        words, all_of = _("This address takes %(these)s."), view.allowed_methods
    elif isinstance(error, exceptions.UnsupportedMediaType):
        words = _("This address takes %(these)s. Say in Content-Type which it is.")
        all_of = [each.media_type for each in view.parser_classes]
    elif isinstance(error, exceptions.NotAcceptable):
        words = _("This address answers in %(these)s. Name that in Accept, or leave Accept out.")
        all_of = [each.media_type for each in view.renderer_classes]
    else:
        return ""
    return words % {"these": ", ".join(all_of)}


def _of_fault(error: Exception, request: HttpRequest) -> Response:
    """A fault of ours: into the log, and reported as Django reports one; nothing of it is told."""
    logger.error("a request of the interface failed", exc_info=error)
    got_request_exception.send(sender=None, request=request)
    if passes(error):
        return problem(
            503,
            _(
                "The registry cannot do this just now, and nothing of the request was kept. Send it"
                " again in a few minutes; with the same Idempotency-Key it is done once."
            ),
            headers={"Retry-After": str(RETRY_AFTER_SECONDS)},
        )
    return problem(500, _("The registry failed to answer. The fault has been recorded."))
