"""The OpenAPI document: what each view says of itself, and the shapes it names.

Shapes are written as JSON Schema in ``api.shapes`` and put into the document whole. The refusals
that every view may give are added here, once.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

from django.conf import settings
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema

from api.operations import NAMES, PARTS
from api.problems import MEDIA_TYPE
from api.shapes import (
    announcements,
    breeding,
    breeding_runs,
    common,
    dogs,
    evaluations,
    forecast_outcomes,
    log,
    me,
    public,
)
from api.shapes.common import Schema, ref
from api.tokens import ANY_TOKEN
from registry.desk.people import SCOPES

_PREFIX = "/api/v1/"

COMPONENTS: dict[str, Schema] = {
    "Problem": common.PROBLEM,
    "Me": me.ME,
    "Dog": dogs.DOG,
    "DogFacts": dogs.DOG_FACTS,
    "Ancestor": dogs.ANCESTOR,
    "Pedigree": dogs.PEDIGREE,
    "Merge": dogs.MERGE,
    "DogCorrection": dogs.DOG_CORRECTION,
    "Conditions": evaluations.CONDITIONS,
    "ReadingGiven": evaluations.READING_GIVEN,
    "Answers": evaluations.ANSWERS,
    "DecisionGiven": evaluations.DECISION,
    "Replacement": evaluations.REPLACEMENT,
    "ReasonGiven": evaluations.REASON_GIVEN,
    "Chosen": evaluations.CHOSEN,
    "AcceptedTogether": evaluations.OUTCOMES,
    "Moved": evaluations.MOVED,
    "Flag": evaluations.FLAG,
    "Reading": evaluations.READING,
    "Evidence": evaluations.EVIDENCE,
    "Evaluation": evaluations.EVALUATION,
    "Queued": evaluations.QUEUED,
    "Queue": evaluations.QUEUE,
    "Entry": evaluations.ENTRY,
    "Announcement": announcements.ANNOUNCEMENT,
    "AnnouncementGiven": announcements.ANNOUNCEMENT_GIVEN,
    "StandingAsIssued": public.STANDING_ISSUED,
    "StandingToday": public.STANDING_TODAY,
    "Relative": public.RELATIVE,
    "Result": public.RESULT,
    "Certificate": public.CERTIFICATE,
    "Distribution": public.DISTRIBUTION,
    "Run": breeding_runs.RUN,
    "Estimates": breeding_runs.ESTIMATES,
    "BreedingValues": breeding.BREEDING_VALUES,
    "Forecast": breeding.FORECAST,
    "GradeForecast": breeding.GRADE_FORECAST,
    "Mate": breeding.MATE,
    "Mates": breeding.MATES,
    "Kinship": breeding.KINSHIP,
    "Forecasts": breeding.FORECASTS,
    "Trend": breeding_runs.TREND,
    "BreedingRun": breeding_runs.BREEDING_RUN,
    "BreedingRuns": breeding_runs.BREEDING_RUNS,
    "ForecastOutcomes": forecast_outcomes.FORECAST_OUTCOMES,
    "Log": log.LOG,
    "Inclusion": log.INCLUSION,
    "Consistency": log.CONSISTENCY,
}

_REFUSALS = {
    400: "The request cannot be read: a header, a parameter or JSON that is none.",
    401: "No token, or one that does not stand.",
    403: "The token or its role may not do this.",
    404: "There is no such thing, or none of yours.",
    406: "Only JSON is spoken here.",
    409: "It cannot be as things stand: somebody else was first, or there is no answer.",
    413: "The body is too large.",
    415: "The body is of another kind than this address takes.",
    422: "The body was read, but fields of it cannot be taken; or a key came with another body.",
    429: "Too many requests; Retry-After says how many seconds to wait.",
    503: "Not just now: the disk is full, or the database is away. Retry-After says when to ask.",
}
_READ = (400, 401, 403, 404, 406, 429, 503)
_WRITE = (*_READ, 409, 413, 415, 422)


def parameter(
    name: str,
    where: Literal["path", "query"],
    description: str,
    *,
    enum: list[str] | None = None,
    is_whole: bool = False,
) -> OpenApiParameter:
    """One parameter in the path, query or header."""
    schema: Schema = {"type": "integer" if is_whole else "string"}
    if where == "query" and is_whole:
        schema |= {"minimum": 1, "maximum": 100}
    if where != "path" and not is_whole:
        schema |= {"maxLength": 200, "pattern": "^[^\\u0000]*$"}
    if enum is not None:
        schema = {"type": "string", "enum": enum}
    return OpenApiParameter(name, schema, where, required=where == "path", description=description)


def count_parameter(name: str, description: str, *, is_required: bool = False) -> OpenApiParameter:
    """A query parameter that is a whole number from 1 on, of fifteen digits at the most."""
    schema: Schema = {"type": "integer", "minimum": 1, "maximum": 10**15 - 1}
    return OpenApiParameter(name, schema, "query", required=is_required, description=description)


KEY = OpenApiParameter(
    "Idempotency-Key",
    {"type": "string", "minLength": 1, "maxLength": 255, "pattern": "^[!-~]+$"},
    "header",
    description="A text of your own, new for each deed. Sent again with the same body within 30 "
    "days it gives the same answer; with another body 422.",
)
LIMIT = parameter("limit", "query", "rows on a page, 50 unless told", is_whole=True)
CURSOR = parameter("cursor", "query", "the mark that the page before gave as next")


def documented(
    title: str,
    *,
    answer: str | Schema = "",
    body: str | Schema = "",
    status: int = 200,
    parameters: list[OpenApiParameter] | None = None,
    binary: str = "",
    bodies: dict[str, Any] | None = None,
    example: Any = None,
    curl: str = "",
    may_conflict: bool = False,
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Say what a method takes and answers; names are those of ``COMPONENTS``. ``may_conflict`` is
    for what is read and may have no answer as things stand."""
    is_read = not body and bodies is None and status == 200
    refused = (*(_READ if is_read else _WRITE), *((409,) if is_read and may_conflict else ()))
    responses: dict[Any, Any] = {
        (code, MEDIA_TYPE): OpenApiResponse(ref("Problem"), description=_REFUSALS[code])
        for code in refused
    }
    if is_read:
        responses[304] = OpenApiResponse(description="Unchanged since the ETag you named.")
    if binary:
        content = {"type": "string", "format": "binary"}
        responses[status, binary] = OpenApiResponse(content, description="The file's bytes.")
    elif status == 204:
        responses[204] = OpenApiResponse(description="Done; there is nothing to say.")
    else:
        shape = ref(answer) if isinstance(answer, str) else answer
        responses[status, "application/json"] = OpenApiResponse(shape, description="Done.")
    request = bodies
    if body:
        request = {"application/json": ref(body) if isinstance(body, str) else body}
    examples = [OpenApiExample(title, example, request_only=True)] if example else []
    return extend_schema(
        summary=title,
        description=f"{title}.\n\n```sh\n{curl}\n```" if curl else title,
        request=request,
        responses=responses,
        parameters=parameters or [],
        examples=examples,
    )


class Schema31(AutoSchema):
    """Names each operation by its address and method, and asks for a token where one is needed."""

    def get_operation_id(self) -> str:
        """The name that ``NAMES`` gives it: what programs made from the document call."""
        return NAMES[self.method, self.path.removeprefix(_PREFIX)]

    def get_tags(self) -> list[str]:
        """The first word of the address."""
        return [self.path.removeprefix(_PREFIX).split("/")[0]]

    def get_auth(self) -> list[dict[str, list[str]]]:
        """None for what everybody may read. Scopes stand in the description: only OAuth has a
        place for them."""
        return [{"token": []}] if self._scope() else []

    def get_operation(self, *args: Any) -> dict[str, Any] | None:
        """What the view says, and the scope that a token must have."""
        operation: dict[str, Any] | None = super().get_operation(*args)
        if operation is not None:
            scope = self._scope()
            words = {"": "Open to all.", ANY_TOKEN: "Needs a token."}
            roles = " or ".join(str(role) for role in SCOPES.get(scope, ()))
            needed = f"Needs a {roles}'s token with the scope `{scope}`."
            operation["description"] += f"\n\n{words.get(scope, needed)}"
        return operation

    def _scope(self) -> str:
        return str(getattr(self.view, "scopes", {}).get(self.method, ""))


def complete(result: dict[str, Any], **_facts: Any) -> dict[str, Any]:
    """Put into the document what no single view knows: shapes, parts, site, how a token is sent."""
    components = result.setdefault("components", {})
    components.setdefault("schemas", {}).update(COMPONENTS)
    components["securitySchemes"] = {
        "token": {
            "type": "http",
            "scheme": "bearer",
            "description": "A token of the club, sent as Authorization: Bearer sl_….",
        }
    }
    result["servers"] = [{"url": settings.SITE_URL or "/"}]
    result["tags"] = [{"name": name, "description": words} for name, words in PARTS.items()]
    for item in result["paths"].values():
        for operation in item.values():
            _complete_operation(operation)
    return result


def _complete_operation(operation: dict[str, Any]) -> None:
    """Say that no token is needed, that a body must be there, and which headers come back."""
    operation.setdefault("security", [])
    if "requestBody" in operation:
        operation["requestBody"]["required"] = True
    names = {each["name"] for each in operation.get("parameters", [])}
    is_keyed = "Idempotency-Key" in names
    for status, response in operation["responses"].items():
        headers = [*_HEADERS.get(status, ())]
        if status == "200" and "304" in operation["responses"]:
            headers.append("ETag")
        if is_keyed and status.startswith("2"):
            headers.append("Idempotency-Replayed")
        if headers:
            response["headers"] = {name: _HEADER_SHAPES[name] for name in headers}


_HEADERS = {
    "304": ("ETag",),
    "401": ("WWW-Authenticate",),
    "429": ("Retry-After",),
    "503": ("Retry-After",),
}
_HEADER_SHAPES: dict[str, Schema] = {
    "ETag": {
        "description": "Names this content. Send it back as If-None-Match.",
        "schema": {"type": "string"},
    },
    "WWW-Authenticate": {
        "description": "How a token is to be sent.",
        "schema": {"type": "string"},
    },
    "Retry-After": {
        "description": "So many seconds to wait.",
        "schema": {"type": "integer", "minimum": 0},
    },
    "Idempotency-Replayed": {
        "description": "true where this is the answer of an earlier request with the same key.",
        "schema": {"type": "string", "enum": ["true"]},
    },
}
