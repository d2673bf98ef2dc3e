"""The interface's refusals against RFC 9457, Problem Details for HTTP APIs (July 2023)."""

from __future__ import annotations

import json
import re

import pytest

from api.problems import MEDIA_TYPE, problem
from api.shapes.common import PROBLEM
from tests.api.conftest import Caller

# RFC 9457 section 3.1: the members that have a meaning, and the JSON type of each.
MEMBERS = {"type": str, "status": int, "title": str, "detail": str, "instance": str}


def test_the_media_type_is_the_registered_one() -> None:
    # RFC 9457 section 6.1.
    assert MEDIA_TYPE == "application/problem+json"


@pytest.mark.django_db
@pytest.mark.parametrize(("path", "status"), [("me", 401), ("nothing", 404), ("breeds?x=1", 400)])
def test_members_have_the_types_of_section_3_1(path: str, status: int) -> None:
    answer = Caller().get(path)

    body = json.loads(answer.content)
    assert answer["Content-Type"] == MEDIA_TYPE
    assert {name: type(body[name]) for name in body if name in MEMBERS} == {
        name: kind for name, kind in MEMBERS.items() if name in body
    }
    # Section 3.1.2: when present, the status is that of the response.
    assert body["status"] == answer.status_code == status


def test_about_blank_has_the_title_of_its_status() -> None:
    # Section 4.2.1: with "about:blank" the title should be the HTTP status phrase; 404 in RFC 9110.
    body = problem(404, "There is no such thing.").data

    assert body["type"] == "about:blank"
    assert body["title"] == "Not Found"


def test_a_type_of_our_own_is_an_absolute_address() -> None:
    # Section 3.1.1 recommends absolute URIs; consumers compare them as text.
    body = problem(422, "Look again.", kind="invalid").data

    assert body["type"].startswith(("http://", "https://"))


def test_extension_members_keep_the_naming_rule() -> None:
    # Section 3.2: a letter first, then letters, digits and underscores, three or more of them.
    extensions = set(PROBLEM["properties"]) - set(MEMBERS)

    assert extensions == {"state", "who", "why", "since", "errors"}
    assert all(re.fullmatch("[A-Za-z][A-Za-z0-9_]{2,}", name) for name in extensions)
