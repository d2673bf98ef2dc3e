"""What the interface says of itself: the OpenAPI document, a page made from it, and the answer of
every address that is none."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.reading import query_of
from api.tokens import PUBLIC
from api.view import ApiView

_METHODS = ("get", "post", "put", "delete")


@cache
def document() -> dict[str, Any]:
    """The OpenAPI 3.1 document; it depends on the code alone."""
    return dict(SchemaGenerator().get_schema(request=None, public=True))  # type: ignore[no-untyped-call]


@extend_schema(exclude=True)
class Document(ApiView):
    """The OpenAPI document."""

    scopes = {"GET": PUBLIC}

    def get(self, request: Request) -> Response:
        """Answer it as JSON."""
        query_of(request)
        return Response(document())


@login_not_required
@require_safe
def docs(request: HttpRequest) -> HttpResponse:
    """The document as a page: no script, nothing from elsewhere."""
    found = document()
    operations = [
        {
            "id": operation["operationId"],
            "method": method.upper(),
            "path": path,
            "operation": operation,
            "curl": _curl(operation["description"]),
            "body": _body(operation),
            "parameters": [
                {"name": each["name"], "description": each.get("description", "")}
                for each in operation.get("parameters", [])
            ],
            "answers": [
                {"status": status, "words": response.get("description", "")}
                for status, response in sorted(operation["responses"].items())
            ],
            "is_public": not operation.get("security"),
        }
        for path, item in found["paths"].items()
        for method, operation in item.items()
        if method in _METHODS
    ]
    return render(request, "api/docs.html", {"operations": operations})


def _curl(description: str) -> str:
    """The command in the description, with the address of this site."""
    command = description.partition("```sh\n")[2].partition("\n```")[0]
    return command.replace("$SITE", settings.SITE_URL)


def _body(operation: Mapping[str, Any]) -> str:
    """An example of the JSON that is to be sent; empty where there is none."""
    content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
    examples = [each["value"] for each in content.get("examples", {}).values()]
    return json.dumps(examples[0], indent=2, ensure_ascii=False) if examples else ""


@extend_schema(exclude=True)
class Nothing(ApiView):
    """Every other address."""

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Say that there is nothing, whatever the method."""
        super().initial(request, *args, **kwargs)
        raise Http404
