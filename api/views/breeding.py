"""Breeding values, kinships and forecasts.

What the pages show to everybody can be read here by everybody, by the same rule: nothing is told
that rests on a result whose owner has not released it.
"""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from api.problems import Unreadable
from api.reading import query_of
from api.schema import documented, parameter
from api.shapes import breeding as shapes
from api.tokens import PUBLIC
from api.views.breeding_answers import BreedingView, dog_of
from registry.queries.breeding import breeding_value_of
from registry.queries.pairs import NoAnswer, Why, kinship_of, pair, run_of
from registry.queries.public import PublicDog

_ID = parameter("public_id", "path", "the dog's id")


def _dog_parameter(name: str, description: str) -> OpenApiParameter:
    schema = {"type": "string", "pattern": "^[0-9a-z]{1,40}$"}
    return OpenApiParameter(name, schema, "query", required=True, description=description)


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
        dog = dog_of(public_id)
        return Response(shapes.breeding_values(dog, run_of(dog), breeding_value_of(dog)))


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


def _asked(query: Mapping[str, str], name: str) -> PublicDog:
    if not query.get(name):
        raise Unreadable(name, _("Give the id of a dog."))
    return dog_of(query[name])
