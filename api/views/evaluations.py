"""Evaluations: a clinic sends, answers and withdraws; a registrar decides; both read their own."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from api.paging import page_of
from api.problems import Unreadable
from api.reading import body_of, once_per_key, only_members, query_of, text_member
from api.schema import CURSOR, KEY, LIMIT, documented, parameter
from api.shapes import common
from api.shapes import evaluations as shapes
from api.tokens import actor_of
from api.view import ApiView
from registry.desk.actor import Actor, clinic_of, require_role
from registry.desk.errors import NotFound
from registry.desk.replay import Answer
from registry.desk.submit import described_as_body, resubmit, submit, withdraw
from registry.models import Evaluation, Role, State
from registry.queries.timeline import timeline_of

_ID = parameter("public_id", "path", "the evaluation's id")
_EXAMPLE = {
    "dog": {"chip": "276098101234567"},
    "examined_on": "2026-10-02",
    "examiner": "Dr. Vera Oakhollow",
    "conditions": {"restraint": "sedation", "chip_read": True, "weight_kg": "18.5"},
    "readings": [
        {"trait": "hip-laxity", "side": "left", "head_radius_mm": "11.2",
         "displacement_mm": "3.9"},
        {"trait": "hip-laxity", "side": "right", "value": "0.31"},
    ],
    "owner": {"full_name": "Olga Reedmoor", "email": "olga@owner.example"},
    "consent_to_publish": True,
}  # fmt: skip


class Evaluations(ApiView):
    """A clinic's own evaluations; all of them for a registrar."""

    scopes = {"GET": "evaluations:read", "POST": "evaluations:write"}

    @documented(
        "List evaluations",
        answer=common.page("Evaluation"),
        parameters=[
            parameter("state", "query", "only this state", enum=list(State.values)),
            parameter("clinic", "query", "only of the clinic with this id"),
            parameter("dog", "query", "only of the dog with this id"),
            parameter("reference", "query", "only the one with this reference"),
            LIMIT,
            CURSOR,
        ],
    )
    def get(self, request: Request) -> Response:
        """List them, newest first."""
        query = query_of(request, "state", "clinic", "dog", "reference", "limit", "cursor")
        by = actor_of(request)
        rows = visible_to(by)
        if (state := query.get("state")) is not None:
            if state not in State.values:
                raise Unreadable("state", _("There is no such state."))
            rows = rows.filter(state=state)
        for name, path in (("clinic", "clinic__public_id"), ("dog", "dog__public_id")):
            if name in query:
                rows = rows.filter(**{path: query[name]})
        if "reference" in query:
            rows = rows.filter(reference=query["reference"].replace("-", "").upper())
        found, following = page_of(rows, query)
        return Response(
            {"items": [shapes.evaluation(each, role=by.role) for each in found], "next": following}
        )

    @documented(
        "Send an evaluation", answer="Evaluation", body="Answers", status=201, parameters=[KEY],
        example=_EXAMPLE,
        curl='curl -H "Authorization: Bearer $TOKEN" -H "Content-Type: application/json" \\\n'
        '  -H "Idempotency-Key: $(uuidgen)" --data @result.json "$SITE/api/v1/evaluations"',
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """Send one result; the answer has its reference and what the checks found."""
        query_of(request)
        by, body = actor_of(request), body_of(request)

        def deed() -> Answer:
            return Answer(201, shown(by, submit(by=by, body=body).public_id))

        return once_per_key(request, deed)


class OneEvaluation(ApiView):
    """One evaluation."""

    scopes = {"GET": "evaluations:read"}

    @documented("Read an evaluation", answer="Evaluation", parameters=[_ID])
    def get(self, request: Request, public_id: str) -> Response:
        """Answer it whole, with flags in words and files."""
        query_of(request)
        return Response(shown(actor_of(request), public_id))


class AnswersOf(ApiView):
    """What was sent, in the shape in which it is sent."""

    scopes = {"GET": "evaluations:read", "PUT": "evaluations:write"}

    @documented("Read what was sent", answer="Answers", parameters=[_ID])
    def get(self, request: Request, public_id: str) -> Response:
        """Answer a body to start a correction from."""
        query_of(request)
        return Response(described_as_body(one(actor_of(request), public_id)))

    @documented(
        "Answer a returned evaluation", answer="Evaluation", body="Answers", parameters=[_ID]
    )
    def put(self, request: Request, public_id: str) -> Response:
        """Send the corrected answers; the same reference goes back into the queue."""
        query_of(request)
        by = actor_of(request)
        resubmit(by=by, evaluation_id=public_id, body=body_of(request))
        return Response(shown(by, public_id))


class Withdrawal(ApiView):
    """A clinic takes back what is not decided yet."""

    scopes = {"POST": "evaluations:write"}

    @documented(
        "Withdraw an evaluation", answer="Moved", body="ReasonGiven", status=201,
        parameters=[_ID, KEY], example={"reason": "Entered for the wrong dog."},
    )  # fmt: skip
    def post(self, request: Request, public_id: str) -> Response:
        """Withdraw it, with a reason; it stays on record."""
        query_of(request)
        by, body = actor_of(request), body_of(request)
        only_members(body, "reason")
        reason = text_member(body, "reason")

        def deed() -> Answer:
            return Answer(201, moved(withdraw(by=by, evaluation_id=public_id, reason=reason)))

        return once_per_key(request, deed)


class History(ApiView):
    """The audit trail of one evaluation."""

    scopes = {"GET": "evaluations:read"}

    @documented(
        "Read an evaluation's history",
        answer={"type": "array", "items": common.ref("Entry")},
        parameters=[_ID],
    )
    def get(self, request: Request, public_id: str) -> Response:
        """List the entries, newest first."""
        query_of(request)
        found = one(actor_of(request), public_id)
        entries = timeline_of(f"evaluation:{found.public_id}")
        return Response([shapes.entry(each) for each in entries])


def visible_to(by: Actor) -> QuerySet[Evaluation]:
    """What the actor may read: a clinic its own, a registrar all."""
    require_role(by, Role.CLINIC, Role.REGISTRAR)
    rows = Evaluation.objects.select_related("dog__breed", "clinic", "owner", "certificate")
    if by.role == Role.CLINIC:
        rows = rows.filter(clinic_id=clinic_of(by))
    return rows.prefetch_related("readings__trait", "flags__trait", "evidence")


def one(by: Actor, public_id: str) -> Evaluation:
    """The evaluation; raises NotFound, the same for none and for another clinic's."""
    found = visible_to(by).filter(public_id=public_id).first()
    if found is None:
        raise NotFound(_("There is no such result."))
    return found


def shown(by: Actor, public_id: str) -> dict[str, Any]:
    """The evaluation as the actor sees it."""
    return shapes.evaluation(one(by, public_id), role=by.role)


def moved(
    evaluation: Evaluation, certificate: str | None = None, *, waits_for_second: bool = False
) -> dict[str, Any]:
    """What became of an evaluation; nothing yet, while a second registrar has to confirm it."""
    return {
        "waits_for_second": waits_for_second,
        "id": evaluation.public_id,
        "reference": evaluation.reference,
        "state": str(evaluation.state),
        "certificate": certificate,
    }
