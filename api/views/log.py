"""The public log: its last checkpoint, and proofs for whoever keeps one."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from api.problems import Unreadable
from api.reading import query_of
from api.schema import count_parameter, documented
from api.shapes import log as shapes
from api.tokens import PUBLIC
from api.view import ApiView
from registry.desk.errors import NotFound
from registry.queries.public_log import (
    NotInLogError,
    consistency_proof,
    inclusion_proof,
    public_log,
)

_MOST_DIGITS = 15


class Log(ApiView):
    """The log's name, keys and last checkpoint."""

    scopes = {"GET": PUBLIC}

    @documented("Read the public log's last checkpoint", answer="Log")
    def get(self, request: Request) -> Response:
        """Answer who signs, and what was signed last."""
        query_of(request)
        return Response(shapes.log(public_log()))


class Inclusion(ApiView):
    """That an entry is in the log."""

    scopes = {"GET": PUBLIC}

    @documented(
        "Prove that an entry is in the log",
        answer="Inclusion",
        parameters=[
            count_parameter("entry", "the entry's number", is_required=True),
            count_parameter("size", "entries of the tree; without it, of the last checkpoint"),
        ],
    )
    def get(self, request: Request) -> Response:
        """Answer an audit path (RFC 9162, section 2.1.3)."""
        query = query_of(request, "entry", "size")
        entry, size = _count(query, "entry"), _optional_count(query, "size")
        try:
            return Response(shapes.inclusion(inclusion_proof(entry, size)))
        except NotInLogError as error:
            raise NotFound(_("No checkpoint covers this entry yet.")) from error


class Consistency(ApiView):
    """That the log only grew."""

    scopes = {"GET": PUBLIC}

    @documented(
        "Prove that the log only grew",
        answer="Consistency",
        parameters=[
            count_parameter("from", "entries of the checkpoint that was kept", is_required=True),
            count_parameter("to", "entries of a later tree; without it, of the last checkpoint"),
        ],
    )
    def get(self, request: Request) -> Response:
        """Answer a consistency path (RFC 9162, section 2.1.4)."""
        query = query_of(request, "from", "to")
        old_size, size = _count(query, "from"), _optional_count(query, "to")
        try:
            return Response(shapes.consistency(consistency_proof(old_size, size)))
        except NotInLogError as error:
            raise NotFound(_("No two checkpoints of these sizes were signed.")) from error


def _optional_count(query: Mapping[str, str], name: str) -> int | None:
    return _count(query, name) if name in query else None


def _count(query: Mapping[str, str], name: str) -> int:
    """A whole number from 1 on; raises Unreadable."""
    text = query.get(name, "")
    if not (text.isascii() and text.isdecimal() and len(text) <= _MOST_DIGITS and int(text)):
        raise Unreadable(name, _("Give a whole number from 1 on."))
    return int(text)
