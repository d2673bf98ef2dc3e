"""Dogs: find, read, register, put right, confirm; and the audit trail of one."""

from __future__ import annotations

from django.db.models import Q
from django.http import HttpResponseBase
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from api.paging import limit_of, page_of
from api.problems import Unreadable
from api.reading import body_of, once_per_key, query_of, text_member
from api.schema import CURSOR, KEY, LIMIT, documented, parameter
from api.shapes import common, me
from api.shapes import dogs as shapes
from api.shapes import evaluations as evaluation_shapes
from api.tokens import ANY_TOKEN, actor_of, token_of
from api.view import ApiView
from registry.desk import dogs as desk
from registry.desk.actor import require_role
from registry.desk.errors import Invalid, NotFound
from registry.desk.known_dogs import dog_by_id
from registry.desk.replay import Answer
from registry.models import Dog, DogAlias, Role
from registry.queries.search import find_dogs
from registry.queries.timeline import timeline_of_dog
from registry.science.microchip import ChipProblem, parse_chip, slips

_ID = parameter("public_id", "path", "the dog's id")
_FOUND = 20
_EXAMPLE = {
    "breed": "tarn-spaniel", "name": "Tarnfold Juno", "sex": "F", "born_on": "2025-01-15",
    "chip": "276098101234567",
}  # fmt: skip


class Me(ApiView):
    """The caller."""

    scopes = {"GET": ANY_TOKEN}

    @documented("Say whose token this is", answer="Me")
    def get(self, request: Request) -> Response:
        """Answer role, clinic and scopes."""
        query_of(request)
        return Response(me.me(token_of(request)))


class Dogs(ApiView):
    """All dogs of the register."""

    scopes = {"GET": "dogs:read", "POST": "dogs:write"}

    @documented(
        "Find dogs",
        answer=common.page("Dog"),
        parameters=[
            parameter("q", "query", "a name, mistyped or not; the best twenty are listed"),
            parameter("chip", "query", "exactly this chip"),
            parameter("near", "query", "chips one slip away from this one"),
            parameter("breed", "query", "slug of a breed"),
            LIMIT,
            CURSOR,
        ],
        curl='curl -H "Authorization: Bearer $TOKEN" "$SITE/api/v1/dogs?chip=276098101234567"',
    )
    def get(self, request: Request) -> Response:
        """List all, or those that a name, chip or breed finds."""
        query = query_of(request, "q", "chip", "near", "breed", "limit", "cursor")
        rows = Dog.objects.select_related("breed", "sire", "dam")
        if "breed" in query:
            rows = rows.filter(breed__slug=query["breed"])
        for name in ("chip", "near"):
            if name in query:
                chip = _chip(name, query[name])
                asked = [chip] if name == "chip" else list(slips(chip))
                of_merged = DogAlias.objects.filter(chip__in=asked).values("dog")
                rows = rows.filter(Q(chip__in=asked) | Q(pk__in=of_merged))
        if query.get("q", "").strip():
            limit = limit_of(query)
            if "cursor" in query:
                raise Unreadable("cursor", _("A search by name has one page. Leave this out."))
            best = [dog.public_id for dog in find_dogs(query["q"], _FOUND)]
            by_id = {dog.public_id: dog for dog in rows.filter(public_id__in=best)}
            found, following = [by_id[each] for each in best if each in by_id][:limit], None
        else:
            found, following = page_of(rows, query)
        return Response({"items": [shapes.dog(each) for each in found], "next": following})

    @documented(
        "Register a dog", answer="Dog", body="DogFacts", status=201, parameters=[KEY],
        example=_EXAMPLE,
        curl='curl -H "Authorization: Bearer $TOKEN" -H "Content-Type: application/json" \\\n'
        '  -H "Idempotency-Key: $(uuidgen)" --data @dog.json "$SITE/api/v1/dogs"',
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        """Add a dog; one that a clinic adds waits for a registrar's look."""
        query_of(request)
        by, body = actor_of(request), body_of(request)

        def deed() -> Answer:
            dog = desk.register_dog(by=by, facts=desk.facts_from(body))
            return Answer(201, shapes.dog(dog))

        return once_per_key(request, deed)


class OneDog(ApiView):
    """One dog."""

    scopes = {"GET": "dogs:read", "PUT": "dogs:write"}

    @documented("Read a dog", answer="Dog", parameters=[_ID])
    def get(self, request: Request, public_id: str) -> Response:
        """Answer the dog's facts; the id of an entry that was merged into another answers that
        other dog, with its own id."""
        query_of(request)
        return Response(shapes.dog(_dog(public_id)))

    @documented("Put a dog's facts right", answer="Dog", body="DogCorrection", parameters=[_ID])
    def put(self, request: Request, public_id: str) -> Response:
        """Replace all facts, with a reason, from the version that was read."""
        query_of(request)
        body = dict(body_of(request))
        version, reason = body.pop("version", None), text_member(body, "reason")
        del body["reason"]
        if not isinstance(version, int) or isinstance(version, bool) or not 0 <= version < 2**31:
            raise Invalid.one("/version", _("Give the version that you read, a whole number."))
        facts = desk.facts_from(body)
        dog = desk.correct_dog(
            by=actor_of(request), dog_id=public_id, version=version, facts=facts, reason=reason
        )
        return Response(shapes.dog(_dog(dog.public_id)))


class Confirmation(ApiView):
    """A registrar's look at a dog that a clinic added."""

    scopes = {"POST": "dogs:write"}

    @documented("Confirm a dog", answer="Dog", status=201, parameters=[_ID, KEY])
    def post(self, request: Request, public_id: str) -> HttpResponseBase:
        """Mark the dog as looked at; doing it twice changes nothing."""
        query_of(request)
        by = actor_of(request)

        def deed() -> Answer:
            desk.confirm_dog(by=by, dog_id=public_id)
            return Answer(201, shapes.dog(_dog(public_id)))

        return once_per_key(request, deed)


class DogHistory(ApiView):
    """The audit trail of a dog and of everything about it, for registrars and secretaries."""

    scopes = {"GET": "dogs:read"}

    @documented(
        "Read a dog's history",
        answer={"type": "array", "items": common.ref("Entry")},
        parameters=[_ID],
    )
    def get(self, request: Request, public_id: str) -> Response:
        """List the entries, newest first."""
        query_of(request)
        require_role(actor_of(request), Role.REGISTRAR, Role.SECRETARY)
        dog = _dog(public_id)
        return Response([evaluation_shapes.entry(each) for each in timeline_of_dog(dog.public_id)])


def _dog(public_id: str) -> Dog:
    dog = dog_by_id(public_id)
    if dog is None:
        raise NotFound(_("There is no such dog."))
    return dog


def _chip(name: str, text: str) -> str:
    try:
        return parse_chip(text, allow_test=True).text15
    except ChipProblem as problem:
        raise Unreadable(name, str(problem)) from problem
