"""The candidate mates of a dog, by the page's rule: nothing is told that rests on a result whose
owner has not released it."""

from __future__ import annotations

import re
from collections.abc import Mapping

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from api.paging import limit_of, ranked_cursor, ranked_place
from api.problems import Unreadable, problem
from api.reading import query_of
from api.schema import CURSOR, LIMIT, documented, parameter
from api.shapes import breeding as shapes
from api.tokens import PUBLIC
from api.views.breeding_answers import BreedingView, dog_of
from registry.queries import mates as candidates
from registry.queries.mates import MateWishes
from registry.queries.pairs import NoAnswer, Why, run_of
from registry.queries.public import PublicDog

_ID = parameter("public_id", "path", "the dog's id")
_MOST_MONTHS = 360
_NUMBER = re.compile(r"-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]{1,3})?")


def _bounded(name: str, kind: str, most: int, description: str) -> OpenApiParameter:
    schema = {"type": kind, "minimum": 0, "maximum": most}
    return OpenApiParameter(name, schema, "query", description=description)


class Mates(BreedingView):
    """The candidate mates of a dog."""

    scopes = {"GET": PUBLIC}

    @documented(
        "List a dog's candidate mates, best expected litter first",
        answer="Mates",
        may_conflict=True,
        parameters=[
            _ID,
            parameter("trait", "query", "slug of the trait to rank by; the run's first, if none"),
            _bounded("most_kinship", "number", 1, "closest kinship, 0.0625 unless told"),
            parameter("only_tested", "query", "only with a result to show", enum=["yes"]),
            parameter(
                "no_worse_than_middle",
                "query",
                "only with a result no worse than the breed's middle dog",
                enum=["yes"],
            ),
            _bounded("youngest_months", "integer", _MOST_MONTHS, "at least so old"),
            _bounded("oldest_months", "integer", _MOST_MONTHS, "at most so old"),
            parameter("name", "query", "part of the name"),
            LIMIT,
            CURSOR,
        ],
        curl='curl "$SITE/api/v1/dogs/$DOG/mates?trait=hip-laxity&most_kinship=0.0625"',
    )
    def get(self, request: Request, public_id: str) -> Response:
        """List them; a cursor of a list that has changed since is refused with 409."""
        query = query_of(
            request, "trait", "most_kinship", "only_tested", "no_worse_than_middle",
            "youngest_months", "oldest_months", "name", "limit", "cursor",
        )  # fmt: skip
        limit = limit_of(query)
        place = ranked_place(query["cursor"]) if "cursor" in query else None
        dog = dog_of(public_id)
        wishes = _wishes(dog, query)
        run = run_of(dog)
        if not run.traits:
            raise NoAnswer(Why.NO_VALUES)
        # A further page begins with the last dog of the page before, to see that it still stands
        # there.
        first = place[1] - 1 if place else 0
        found = candidates.mates(
            dog,
            trait=query.get("trait", run.traits[0].trait.slug),
            wishes=wishes,
            today=timezone.localdate(),
            first=max(first, 0),
            most=limit + 1,
            run=run,
        )
        rows = found.rows[:limit]
        if place is not None:
            before = (found.run.number, found.first + 1, found.rows[0].public_id if rows else "")
            if before != place:
                return _list_changed()
            rows = found.rows[1:]
        end = found.first + len(rows) + (place is not None)
        following = None
        if rows and end < found.matching:
            following = ranked_cursor(found.run.number, end, rows[-1].public_id)
        return Response(shapes.mates(dog, found, rows, following))


def _list_changed() -> Response:
    return problem(
        409,
        _("The list has changed since the page before. Begin again without a cursor."),
        kind="list-changed",
        title=_("Another list by now"),
    )


def _wishes(dog: PublicDog, query: Mapping[str, str]) -> MateWishes:
    usual = MateWishes.usual_for(dog)
    return MateWishes(
        most_kinship=_kinship(query, usual.most_kinship),
        only_tested=_yes(query, "only_tested"),
        no_worse_than_middle=_yes(query, "no_worse_than_middle"),
        youngest_months=_months(query, "youngest_months", usual.youngest_months),
        oldest_months=_months(query, "oldest_months", usual.oldest_months),
        name=query.get("name", ""),
    )


def _kinship(query: Mapping[str, str], usual: float | None) -> float | None:
    if (text := query.get("most_kinship")) is None:
        return usual
    if not _NUMBER.fullmatch(text) or not 0 <= float(text) <= 1:
        raise Unreadable("most_kinship", _("Give a number from 0 to 1, like 0.0625."))
    return float(text)


def _months(query: Mapping[str, str], name: str, usual: int | None) -> int | None:
    if (text := query.get(name)) is None:
        return usual
    if not re.fullmatch("[0-9]{1,3}", text) or int(text) > _MOST_MONTHS:
        words = _("Give a whole number of months from 0 to %(most)d.")
        raise Unreadable(name, words % {"most": _MOST_MONTHS})
    return int(text)


def _yes(query: Mapping[str, str], name: str) -> bool:
    if query.get(name, "yes") != "yes":
        raise Unreadable(name, _("Give yes, or leave it out."))
    return name in query
