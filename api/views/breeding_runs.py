"""A breed's course and its breeding runs."""

from __future__ import annotations

from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from api.paging import page_of
from api.reading import body_of, once_per_key, only_members, query_of
from api.schema import CURSOR, KEY, LIMIT, documented, parameter
from api.shapes import breeding_runs as shapes
from api.shapes.forecast_outcomes import forecast_outcomes_of
from api.tokens import PUBLIC, actor_of, token_of
from api.views.breeding_answers import BreedingView
from registry.desk import breeding as desk
from registry.desk.errors import NotFound
from registry.desk.replay import Answer
from registry.models import Breed, BreedingRun, Role
from registry.queries.breeding import latest_run
from registry.queries.course import NoCourse, course_of
from registry.queries.forecast_checks import forecast_outcomes
from registry.queries.pairs import NoAnswer, Why
from registry.queries.public_dogs import public_traits

_BREED = parameter("breed", "path", "slug of a breed")


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


class ForecastOutcomes(BreedingView):
    """How a breed's forecasts turned out."""

    scopes = {"GET": PUBLIC}

    @documented(
        "Read what came of a breed's forecasts",
        answer="ForecastOutcomes",
        parameters=[_BREED],
        curl='curl "$SITE/api/v1/breeds/tarn-spaniel/forecast-outcomes"',
    )
    def get(self, request: Request, breed: str) -> Response:
        """Answer the latest comparison of each counted trait, or that there is none."""
        query_of(request)
        of = _breed(breed)
        return Response(forecast_outcomes_of(of.slug, public_traits(), forecast_outcomes(of.pk)))


def _breed(slug: str) -> Breed:
    found = Breed.objects.filter(slug=slug).first()
    if found is None:
        raise NotFound(_("There is no such breed."))
    return found


def _is_staff(request: Request) -> bool:
    if request.auth is None:
        return False
    return token_of(request).membership.role in (Role.REGISTRAR, Role.SECRETARY)
