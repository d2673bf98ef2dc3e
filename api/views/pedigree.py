"""A dog's ancestors, and the merge of two entries of one dog."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from api.reading import body_of, once_per_key, only_members, query_of, text_member
from api.schema import KEY, documented, parameter
from api.shapes import dogs as shapes
from api.tokens import PUBLIC, actor_of
from api.view import ApiView
from registry.desk.errors import Invalid, NotFound
from registry.desk.known_dogs import dog_by_id
from registry.desk.merge import BIRTH_DATE, CHIPS, merge_dogs
from registry.desk.replay import Answer
from registry.queries.ancestors import ancestors_of
from registry.queries.public_dogs import merged_into, public_dog, public_traits

_ID = parameter("public_id", "path", "the dog's id")


class Pedigree(ApiView):
    """Three generations of ancestors."""

    scopes = {"GET": PUBLIC}

    @documented("Read a dog's three generations of ancestors", answer="Pedigree", parameters=[_ID])
    def get(self, request: Request, public_id: str) -> Response:
        """Answer each known ancestor with what is released of it; no values means not tested or
        not released. The id of a merged entry answers the dog it was merged into."""
        query_of(request)
        dog = public_dog(merged_into(public_id) or public_id)
        if dog is None:
            raise NotFound(_("There is no such dog."))
        counted = [trait for trait in public_traits() if trait.is_counted]
        found = ancestors_of(dog, counted)
        return Response(
            {"dog": dog.public_id, "ancestors": [shapes.ancestor(each) for each in found]}
        )


class Merge(ApiView):
    """Two entries of one dog."""

    scopes = {"POST": "dogs:write"}

    @documented(
        "Merge another entry of this dog into it", answer="Dog", body="Merge", status=201,
        parameters=[_ID, KEY],
        example={"drop": "3ms9vj7q2hdkw4bt", "reason": "entered twice", "confirmed": ["chips"]},
    )  # fmt: skip
    def post(self, request: Request, public_id: str) -> Response:
        """Move everything of the entry ``drop`` to this one; its id and chip then answer this
        dog. For registrars; what wants a confirmation is named by 422."""
        query_of(request)
        by, body = actor_of(request), body_of(request)
        only_members(body, "drop", "reason", "confirmed")
        given: dict[str, Any] = {
            "drop": text_member(body, "drop"),
            "reason": text_member(body, "reason"),
            "confirmed": _confirmed(body.get("confirmed", [])),
        }

        def deed() -> Answer:
            kept = merge_dogs(by=by, keep=public_id, versions=None, **given)
            dog = dog_by_id(kept.public_id)
            if dog is None:
                raise NotFound(_("There is no such dog."))
            return Answer(201, shapes.dog(dog))

        return once_per_key(request, deed)


def _confirmed(value: Any) -> list[str]:
    if not isinstance(value, list) or any(each not in (BIRTH_DATE, CHIPS) for each in value):
        words = _("Give a list of %(words)s.") % {"words": f"{BIRTH_DATE}, {CHIPS}"}
        raise Invalid.one("/confirmed", words)
    return value
