"""Announced examinations: a clinic announces and withdraws; a registrar reads all of them."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from api.paging import page_of
from api.problems import Unreadable
from api.reading import body_of, once_per_key, only_members, query_of, text_member
from api.schema import CURSOR, KEY, LIMIT, documented, parameter
from api.shapes import announcements as shapes
from api.shapes import common
from api.tokens import actor_of
from api.view import ApiView
from registry.desk.actor import Actor, clinic_of, require_role
from registry.desk.announce import announce, withdraw_announcement
from registry.desk.answers import day_of
from registry.desk.replay import Answer
from registry.models import Announcement, Role

_STATES = {
    "open": Q(evaluation__isnull=True, withdrawn_at__isnull=True),
    "answered": Q(evaluation__isnull=False),
    "withdrawn": Q(withdrawn_at__isnull=False),
}


class Announcements(ApiView):
    """A clinic's own announcements; all of them for a registrar."""

    scopes = {"GET": "evaluations:read", "POST": "evaluations:write"}

    @documented(
        "List announcements",
        answer=common.page("Announcement"),
        parameters=[
            parameter("state", "query", "only this state", enum=list(shapes.STATES)),
            parameter("dog", "query", "only of the dog with this id"),
            LIMIT,
            CURSOR,
        ],
    )
    def get(self, request: Request) -> Response:
        """List them, newest first."""
        query = query_of(request, "state", "dog", "limit", "cursor")
        rows = _visible_to(actor_of(request))
        if (state := query.get("state")) is not None:
            if state not in _STATES:
                raise Unreadable("state", _("There is no such state."))
            rows = rows.filter(_STATES[state])
        if "dog" in query:
            rows = rows.filter(dog__public_id=query["dog"])
        found, following = page_of(rows, query)
        return Response({"items": [shapes.announcement(each) for each in found], "next": following})

    @documented(
        "Announce an examination", answer="Announcement", body="AnnouncementGiven", status=201,
        parameters=[KEY], example={"dog": "4fk2m7", "examined_on": "2026-10-02"},
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """Announce it before its result is known; it is public until a result or a withdrawal."""
        query_of(request)
        by, body = actor_of(request), body_of(request)
        only_members(body, "dog", "examined_on")
        dog, day = text_member(body, "dog"), day_of(text_member(body, "examined_on"))

        def deed() -> Answer:
            made = announce(by=by, dog_id=dog, examined_on=day)
            return Answer(201, _shown(by, made))

        return once_per_key(request, deed)


class AnnouncementWithdrawal(ApiView):
    """A clinic takes back an announcement that has no result."""

    scopes = {"POST": "evaluations:write"}

    @documented(
        "Withdraw an announcement", answer="Announcement", body="ReasonGiven", status=201,
        parameters=[parameter("public_id", "path", "the announcement's id"), KEY],
        example={"reason": "The appointment was cancelled."},
    )  # fmt: skip
    def post(self, request: Request, public_id: str) -> Response:
        """Withdraw it; it stays public as withdrawn, and so does the reason."""
        query_of(request)
        by, body = actor_of(request), body_of(request)
        only_members(body, "reason")
        reason = text_member(body, "reason")

        def deed() -> Answer:
            gone = withdraw_announcement(by=by, announcement_id=public_id, reason=reason)
            return Answer(201, _shown(by, gone))

        return once_per_key(request, deed)


def _visible_to(by: Actor) -> QuerySet[Announcement]:
    require_role(by, Role.CLINIC, Role.REGISTRAR)
    rows = Announcement.objects.select_related("dog__breed", "clinic", "evaluation")
    return rows.filter(clinic_id=clinic_of(by)) if by.role == Role.CLINIC else rows


def _shown(by: Actor, found: Announcement) -> dict[str, Any]:
    return shapes.announcement(_visible_to(by).get(pk=found.pk))
