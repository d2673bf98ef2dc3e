"""Breeding values, candidate mates, kinships, forecasts, the breed's course and its runs.

What the pages show to everybody can be read here by everybody, by the same rule: nothing is told
that rests on a result whose owner has not released it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from api.paging import limit_of, page_of, ranked_cursor, ranked_place
from api.problems import Unreadable, answer, problem
from api.reading import body_of, once_per_key, only_members, query_of
from api.schema import CURSOR, KEY, LIMIT, documented, parameter
from api.shapes import breeding as shapes
from api.tokens import PUBLIC, actor_of, token_of
from api.view import ApiView
from registry.desk import breeding as desk
from registry.desk.errors import NotFound
from registry.desk.replay import Answer
from registry.models import Breed, BreedingRun, Role
from registry.queries import mates as candidates
from registry.queries.breeding import breeding_value_of, latest_run
from registry.queries.course import NoCourse, course_of
from registry.queries.mates import MateWishes
from registry.queries.pairs import NoAnswer, Why, kinship_of, pair, run_of
from registry.queries.public import PublicDog
from registry.queries.public_dogs import public_dog
from registry.telling.breeding import why_words

_ID = parameter("public_id", "path", "the dog's id")
_BREED = parameter("breed", "path", "slug of a breed")
_MOST_MONTHS = 360
_NUMBER = re.compile(r"-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]{1,3})?")
# What may have an answer after the next run; the others will have none.
_NOT_YET = (Why.NO_RUN, Why.NO_VALUES, Why.AFTER_RUN)


def _dog_parameter(name: str, description: str) -> OpenApiParameter:
    schema = {"type": "string", "pattern": "^[0-9a-z]{1,40}$"}
    return OpenApiParameter(name, schema, "query", required=True, description=description)


def _bounded(name: str, kind: str, most: int, description: str) -> OpenApiParameter:
    schema = {"type": kind, "minimum": 0, "maximum": most}
    return OpenApiParameter(name, schema, "query", description=description)


class BreedingView(ApiView):
    """Answers NoAnswer as a problem: 404 where a later run may know more, else 409."""

    def get_exception_handler(self) -> Any:
        """Problem details for everything."""
        return _answer


class BreedingValues(BreedingView):
    """What a dog hands on."""

    scopes = {"GET": PUBLIC}

    @documented(
        "Read a dog's breeding values",
        answer="BreedingValues",
        parameters=[_ID],
        curl='curl "$SITE/api/v1/dogs/$DOG/breeding-values"',
    )
    def get(self, request: Request, public_id: str) -> Response:
        """Answer its breeding value of each trait, or that it is withheld."""
        query_of(request)
        dog = _dog(public_id)
        return Response(shapes.breeding_values(dog, run_of(dog), breeding_value_of(dog)))


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
        dog = _dog(public_id)
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


class Kinship(BreedingView):
    """How closely two dogs are related."""

    scopes = {"GET": PUBLIC}

    @documented(
        "Read the kinship of two dogs",
        answer="Kinship",
        may_conflict=True,
        parameters=[
            _dog_parameter("one", "id of a dog"),
            _dog_parameter("other", "id of another dog of the breed"),
        ],
        curl='curl "$SITE/api/v1/kinships?one=$DOG&other=$MATE"',
    )
    def get(self, request: Request) -> Response:
        """Answer the coefficient of kinship, which is the inbreeding of their puppies."""
        query = query_of(request, "one", "other")
        one, other = _asked(query, "one"), _asked(query, "other")
        return Response(shapes.kinship(one, other, kinship_of(one, other)))


class Forecasts(BreedingView):
    """The litter to expect of a pair."""

    scopes = {"GET": PUBLIC}

    @documented(
        "Forecast the litter of a pair",
        answer="Forecasts",
        may_conflict=True,
        parameters=[
            _dog_parameter("sire", "id of the sire"),
            _dog_parameter("dam", "id of the dam"),
            parameter("trait", "query", "slug of a trait; without it all of the run"),
        ],
        curl='curl "$SITE/api/v1/forecasts?sire=$SIRE&dam=$DAM&trait=hip-laxity"',
    )
    def get(self, request: Request) -> Response:
        """Answer a forecast for each trait, or whose result is not released."""
        query = query_of(request, "sire", "dam", "trait")
        sire, dam = _asked(query, "sire"), _asked(query, "dam")
        if (sire.sex, dam.sex) == ("F", "M"):
            raise Unreadable("sire", _("This dog is a bitch. Give her as dam."))
        found = pair(sire, dam)
        asked = query.get("trait")
        traits = [each for each in found.traits if asked in (None, each.facts.trait.slug)]
        if not traits:
            raise NoAnswer(Why.NO_VALUES)
        return Response(shapes.forecasts(found, traits))


class Trend(BreedingView):
    """A breed's course by year of birth."""

    scopes = {"GET": PUBLIC}

    @documented(
        "Read a breed's course by year of birth",
        answer="Trend",
        parameters=[_BREED, parameter("trait", "path", "slug of a trait")],
        curl='curl "$SITE/api/v1/trends/tarn-spaniel/hip-laxity"',
    )
    def get(self, request: Request, breed: str, trait: str) -> Response:
        """Answer results and genes by year of birth, inbreeding, effective population size."""
        query_of(request)
        found = course_of(_breed(breed).pk, trait)
        if isinstance(found, NoCourse):
            raise NoAnswer(Why.NO_RUN if found.run is None else Why.NO_VALUES)
        return Response(shapes.trend(breed, found))


class Runs(BreedingView):
    """The breeding runs of a breed."""

    scopes = {"GET": PUBLIC, "POST": "breeding:write"}

    @documented(
        "List a breed's breeding runs", answer="BreedingRuns", parameters=[_BREED, LIMIT, CURSOR]
    )
    def get(self, request: Request, breed: str) -> Response:
        """List them, newest first, and what the latest one found."""
        query = query_of(request, "limit", "cursor")
        of = _breed(breed)
        found, following = page_of(BreedingRun.objects.filter(breed=of), query)
        latest = latest_run(of.pk)
        is_staff = _is_staff(request)
        return Response(
            {
                "items": [shapes.breeding_run(each, of.slug, is_staff=is_staff) for each in found],
                "next": following,
                "latest": latest and shapes.run(latest),
                "estimates": [shapes.estimates(each) for each in latest.traits] if latest else [],
                "cautions": shapes.every_caution(),
            }
        )

    @documented(
        "Ask for a breeding run",
        answer="BreedingRun",
        status=202,
        parameters=[_BREED, KEY],
        curl='curl -X POST -H "Authorization: Bearer $TOKEN" -H "Idempotency-Key: $(uuidgen)" \\\n'
        '  "$SITE/api/v1/breeds/tarn-spaniel/breeding-runs"',
    )
    def post(self, request: Request, breed: str) -> Response:
        """Answer the run that will be computed; one that is open already is asked for no more."""
        query_of(request)
        by = actor_of(request)
        if request.data:
            only_members(body_of(request))

        def deed() -> Answer:
            run = desk.ask_for_run(by=by, breed_slug=breed)
            return Answer(202, shapes.breeding_run(run, run.breed.slug, is_staff=True))

        response = once_per_key(request, deed)
        response["Location"] = f"/api/v1/breeds/{breed}/breeding-runs/{response.data['number']}"
        return response


class OneRun(BreedingView):
    """One breeding run."""

    scopes = {"GET": PUBLIC}

    @documented(
        "Read how a breeding run stands",
        answer="BreedingRun",
        parameters=[_BREED, parameter("number", "path", "the run's number", is_whole=True)],
    )
    def get(self, request: Request, breed: str, number: int) -> Response:
        """Answer its state; a failure's words are for registrars and secretaries."""
        query_of(request)
        of = _breed(breed)
        found = BreedingRun.objects.filter(breed=of, number=number).first()
        if found is None:
            raise NotFound(_("There is no such breeding run."))
        return Response(shapes.breeding_run(found, of.slug, is_staff=_is_staff(request)))


def _answer(error: Exception, context: Mapping[str, Any]) -> Response:
    if not isinstance(error, NoAnswer):
        return answer(error, context)
    words = why_words(error)
    return problem(
        404 if error.why in _NOT_YET else 409,
        words.text,
        kind="no-answer",
        title=words.title,
        why=error.why.value,
    )


def _list_changed() -> Response:
    return problem(
        409,
        _("The list has changed since the page before. Begin again without a cursor."),
        kind="list-changed",
        title=_("Another list by now"),
    )


def _dog(public_id: str) -> PublicDog:
    found = public_dog(public_id)
    if found is None:
        raise NotFound(_("There is no such dog."))
    return found


def _asked(query: Mapping[str, str], name: str) -> PublicDog:
    if not query.get(name):
        raise Unreadable(name, _("Give the id of a dog."))
    return _dog(query[name])


def _breed(slug: str) -> Breed:
    found = Breed.objects.filter(slug=slug).first()
    if found is None:
        raise NotFound(_("There is no such breed."))
    return found


def _is_staff(request: Request) -> bool:
    if request.auth is None:
        return False
    return token_of(request).membership.role in (Role.REGISTRAR, Role.SECRETARY)


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
