"""What all views of the interface share: JSON only, tokens only, problems for every refusal, an
ETag on what can be read again."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils.cache import get_conditional_response, patch_vary_headers
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.views import APIView

from api.problems import answer
from api.reading import JsonParser
from api.throttles import AddressThrottle, TokenThrottle
from api.tokens import HasScope, TokenAuthentication

# What OPTIONS would tell stands in the description for machines.
METHODS = ("get", "post", "put", "delete", "head")


class ApiView(APIView):
    """``scopes`` declares for each method which scope it wants; see ``api.tokens``."""

    scopes: ClassVar[Mapping[str, str]] = {}
    authentication_classes = (TokenAuthentication,)
    permission_classes = (HasScope,)
    throttle_classes = (AddressThrottle, TokenThrottle)
    renderer_classes: Sequence[type[BaseRenderer]] = (JSONRenderer,)
    parser_classes: Sequence[type[BaseParser]] = (JsonParser,)
    http_method_names = list(METHODS)
    metadata_class = None

    def get_exception_handler(self) -> Any:
        """Problem details for everything."""
        return answer

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer, and send what is unchanged only once."""
        response = super().dispatch(request, *args, **kwargs)
        response.headers.setdefault("Cache-Control", "private, no-cache")
        patch_vary_headers(response, ("Authorization",))
        if request.method not in ("GET", "HEAD") or response.status_code != 200:
            return response
        if hasattr(response, "render"):
            response.render()
        if not isinstance(response, HttpResponse):
            return response
        etag = f'"{hashlib.blake2b(response.content, digest_size=12).hexdigest()}"'
        response.headers["ETag"] = etag
        return get_conditional_response(request, etag=etag, response=response) or response
