"""A registrar's work: the queue, a decision, many acceptances, and later a revocation or
replacement."""

from __future__ import annotations

from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from api.problems import Unreadable
from api.reading import body_of, once_per_key, only_members, query_of, text_member
from api.schema import KEY, documented, parameter
from api.shapes import evaluations as shapes
from api.tokens import actor_of
from api.view import ApiView
from api.views.evaluations import moved, visible_to
from registry.desk import decide, revoke
from registry.desk.actor import require_role
from registry.desk.errors import Invalid
from registry.desk.replay import Answer
from registry.models import Role, SecondLook
from registry.queries.flag_words import FLAG_NAMES
from registry.queries.queue import QueueFilter, queue_page
from registry.science.working_days import USUAL_WORKING_DAYS

_ID = parameter("public_id", "path", "the evaluation's id")


class Queue(ApiView):
    """What waits for a registrar."""

    scopes = {"GET": "decisions:write"}

    @documented(
        "Read the queue",
        answer="Queue",
        parameters=[
            parameter("clinic", "query", "only of the clinic with this id"),
            parameter("breed", "query", "only of the breed with this slug"),
            parameter("flag", "query", "a code, any or none", enum=["any", "none", *FLAG_NAMES]),
            parameter("late", "query", "only beyond the usual time", enum=["yes"]),
            parameter("q", "query", "a reference, chip or part of a name"),
            parameter("page", "query", "which page, from 1", is_whole=True),
        ],
    )
    def get(self, request: Request) -> Response:
        """List it, oldest first, with flags in words and the working days waited."""
        query = query_of(request, "clinic", "breed", "flag", "late", "q", "page")
        by = actor_of(request)
        require_role(by, Role.REGISTRAR)
        if query.get("flag", "any") not in ("any", "none", *FLAG_NAMES):
            raise Unreadable("flag", _("There is no such flag."))
        if query.get("late", "yes") != "yes":
            raise Unreadable("late", _("Give yes, or leave it out."))
        page = query.get("page", "1")
        if not page.isascii() or not page.isdigit() or len(page) > 3 or not 1 <= int(page) <= 100:
            raise Unreadable("page", _("Give a whole number from 1 to 100."))
        found = queue_page(QueueFilter.from_query(query), number=int(page))
        whole = visible_to(by).in_bulk([row.evaluation.pk for row in found.rows])
        return Response(
            {
                "items": [shapes.queued(row, whole[row.evaluation.pk]) for row in found.rows],
                "matching": found.matching,
                "total": found.total,
                "page": found.page.number,
                "pages": found.page.paginator.num_pages,
                "usual_working_days": list(USUAL_WORKING_DAYS),
            }
        )


class Decision(ApiView):
    """Accept, return or decline."""

    scopes = {"POST": "decisions:write"}

    @documented(
        "Decide on an evaluation", answer="Moved", body="DecisionGiven", parameters=[_ID, KEY],
        example={"decision": "return", "reason": "Left and right look exchanged.",
                 "fields": ["/readings/0/value"]},
    )  # fmt: skip
    def post(self, request: Request, public_id: str) -> Response:
        """Decide; of two registrars one wins and the other gets 409 with who and when."""
        query_of(request)
        by, body = actor_of(request), body_of(request)
        only_members(body, "decision", "reason", "fields")
        reason = text_member(body, "reason", optional=True)
        fields = body.get("fields", [])
        if not isinstance(fields, list) or not all(isinstance(each, str) for each in fields):
            raise Invalid.one("/fields", _("Give a list of JSON Pointers."))

        def deed() -> Answer:
            match body.get("decision"):
                case "accept":
                    done = decide.accept(by=by, evaluation_id=public_id, reason=reason)
                    if isinstance(done, SecondLook):
                        return Answer(200, moved(done.evaluation, waits_for_second=True))
                    return Answer(200, moved(done.evaluation, done.number))
                case "return":
                    turned = decide.return_for_correction(
                        by=by, evaluation_id=public_id, reason=reason, fields=fields
                    )
                    return Answer(200, moved(turned))
                case "decline":
                    turned = decide.decline(by=by, evaluation_id=public_id, reason=reason)
                    return Answer(200, moved(turned))
                case _:
                    raise Invalid.one("/decision", _("Choose accept, return or decline."))

        return once_per_key(request, deed)


class Acceptances(ApiView):
    """Many acceptances at once; flagged ones are left and named."""

    scopes = {"POST": "decisions:write"}

    @documented(
        "Accept unflagged evaluations", answer="AcceptedTogether", body="Chosen", status=201,
        parameters=[KEY],
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """Accept up to 25, each in a transaction of its own unless a key binds them together."""
        query_of(request)
        by, body = actor_of(request), body_of(request)
        only_members(body, "evaluations")
        wanted = body.get("evaluations")
        if not isinstance(wanted, list) or not all(isinstance(each, str) for each in wanted):
            raise Invalid.one("/evaluations", _("Give a list of ids."))

        def deed() -> Answer:
            outcomes = [
                {
                    "id": outcome.evaluation_id,
                    "certificate": outcome.certificate.number if outcome.certificate else None,
                    "why_left": str(outcome.why_left),
                }
                for outcome in decide.accept_many(by=by, evaluation_ids=wanted)
            ]
            return Answer(201, {"outcomes": outcomes})

        return once_per_key(request, deed)


class Revocation(ApiView):
    """The club takes a certificate back."""

    scopes = {"POST": "decisions:write"}

    @documented(
        "Revoke an accepted evaluation", answer="Moved", body="ReasonGiven", status=201,
        parameters=[_ID, KEY], example={"reason": "The films were of another dog."},
    )  # fmt: skip
    def post(self, request: Request, public_id: str) -> Response:
        """Revoke, with a reason that the certificate's page shows. It takes two registrars: the
        first one's call is noted, the second one's revokes."""
        query_of(request)
        by, body = actor_of(request), body_of(request)
        only_members(body, "reason")
        reason = text_member(body, "reason")

        def deed() -> Answer:
            done = revoke.revoke(by=by, evaluation_id=public_id, reason=reason)
            if isinstance(done, SecondLook):
                return Answer(201, moved(done.evaluation, waits_for_second=True))
            return Answer(201, moved(done))

        return once_per_key(request, deed)


class Replacement(ApiView):
    """A corrected result takes the place of an accepted one."""

    scopes = {"POST": "decisions:write"}

    @documented(
        "Replace an accepted evaluation", answer="Moved", body="Replacement", status=201,
        parameters=[_ID, KEY],
    )  # fmt: skip
    def post(self, request: Request, public_id: str) -> Response:
        """Replace readings, day, examiner or conditions; answers the new evaluation."""
        query_of(request)
        by, body = actor_of(request), dict(body_of(request))
        only_members(body, "reason", "readings", "examined_on", "examiner", "conditions")
        reason = text_member(body, "reason")
        del body["reason"]

        def deed() -> Answer:
            new = revoke.replace(by=by, evaluation_id=public_id, changes=body, reason=reason)
            return Answer(201, moved(new.evaluation, new.number))

        return once_per_key(request, deed)
