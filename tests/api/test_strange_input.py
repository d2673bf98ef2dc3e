"""Whatever is in a header, a path, a query or a body: an answer below 500, and a problem document
for every refusal."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import quote

from django.core.cache import cache
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.api.conftest import Callers

_MOST = settings(suppress_health_check=list(HealthCheck), deadline=None, max_examples=150)
_PATHS = st.sampled_from(
    ("dogs", "evaluations", "queue", "me", "breeds", "evidence", "acceptances", "certificates/x")
)
_METHODS = st.sampled_from(("GET", "POST", "PUT", "PATCH", "DELETE", "HEAD", "OPTIONS", "LINK"))
# What a server hands on in a header: bytes read as Latin-1, without line breaks and NUL.
_LATIN = st.text(
    st.characters(min_codepoint=1, max_codepoint=255, exclude_characters="\r\n"), max_size=80
)
_NAMES = st.sampled_from(
    ("Accept", "Accept-Language", "Content-Type", "Idempotency-Key", "If-None-Match",
     "X-Request-ID", "X-Forwarded-For", "Range", "If-Modified-Since")
)  # fmt: skip
_ANY = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | _ANY,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(_ANY, inner, max_size=4),
    max_leaves=12,
)
_FIELDS = st.sampled_from(
    ("dog", "examined_on", "examiner", "conditions", "readings", "owner", "evidence",
     "consent_to_publish", "name", "breed", "sex", "born_on", "chip", "sire", "version", "reason")
)  # fmt: skip


def _is_sound(answer: Any) -> bool:
    if answer.status_code < 400:
        return True
    if answer.status_code >= 500:
        return False
    is_problem = answer["Content-Type"] == "application/problem+json"
    return bool(is_problem and (answer.content == b"" or json.loads(answer.content)["detail"]))


class TestNoFault:
    @given(path=_PATHS, method=_METHODS, headers=st.dictionaries(_NAMES, _LATIN, max_size=4))
    @_MOST
    def test_with_any_header(
        self, path: str, method: str, headers: dict[str, str], callers: Callers
    ) -> None:
        cache.clear()

        answer = callers.clinic.client.generic(
            method,
            f"/api/v1/{path}",
            b"{}",
            content_type=headers.pop("Content-Type", "application/json"),
            headers={**callers.clinic.headers, **headers},
        )

        assert _is_sound(answer)

    @given(path=_PATHS, query=st.lists(st.tuples(_ANY, _ANY), max_size=4), rest=_ANY)
    @_MOST
    def test_with_any_path_and_query(
        self, path: str, query: list[tuple[str, str]], rest: str, callers: Callers
    ) -> None:
        cache.clear()
        asked = "&".join(f"{quote(name)}={quote(value)}" for name, value in query)

        assert _is_sound(callers.registrar.get(f"{path}?{asked}"))
        assert _is_sound(callers.registrar.get(f"{path}/{quote(rest, safe='')}?{asked}"))

    @given(name=st.sampled_from(("q", "chip", "near", "breed", "cursor", "limit")), value=_ANY)
    @_MOST
    def test_with_any_value_of_a_known_parameter(
        self, name: str, value: str, callers: Callers
    ) -> None:
        cache.clear()

        assert _is_sound(callers.clinic.get(f"dogs?{name}={quote(value)}"))
        assert callers.clinic.get(f"dogs?{name}=a&{name}=b").status_code == 400

    @given(
        path=st.sampled_from(("dogs", "evaluations", "acceptances", "evidence")),
        body=st.dictionaries(_FIELDS, _JSON, max_size=6) | _JSON,
    )
    @_MOST
    def test_with_any_json(self, path: str, body: Any, callers: Callers) -> None:
        cache.clear()

        assert _is_sound(callers.clinic.send(path, body))
        assert _is_sound(callers.registrar.send(path, body))

    @given(path=_PATHS, body=st.binary(max_size=200))
    @_MOST
    def test_with_any_bytes(self, path: str, body: bytes, callers: Callers) -> None:
        cache.clear()

        assert _is_sound(callers.clinic.send(path, body))
