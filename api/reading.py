"""Read what a caller sends: a JSON object of limited size, query parameters by name, an
Idempotency-Key. What the values mean is the desk's business."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping
from typing import IO, Any

from django.utils.translation import gettext as _
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.problems import TooLarge, Unreadable
from api.tokens import token_of
from registry.desk.errors import Invalid
from registry.desk.replay import Answer, once

_KEY = re.compile("[!-~]{1,255}")
MOST_BYTES = 256 * 1024


class JsonParser(BaseParser):
    """RFC 8259 JSON in UTF-8, at most 256 KiB, without doubled names, lone surrogates or NUL."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Return the value; raises ParseError."""
        data = stream.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            raise TooLarge(_("A JSON body has at most 256 KiB here."))
        try:
            value = json.loads(
                data.decode("utf-8"), object_pairs_hook=_unique, parse_constant=_no_constant
            )
            json.dumps(value, ensure_ascii=False).encode("utf-8")
            has_nul = _has_nul(value)
        except (ValueError, RecursionError) as error:
            words = _("The body cannot be read. Send one JSON value in UTF-8, with each name once.")
            raise ParseError(words) from error
        if has_nul:
            raise ParseError(_("Take out the characters that cannot be printed."))
        return value


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object; one that says the same name twice says two things."""
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name is doubled")
    return found


def _has_nul(value: Any) -> bool:
    """Whether NUL, which no database column takes, is in any text of the value."""
    if isinstance(value, str):
        return "\x00" in value
    if isinstance(value, dict):
        return any(_has_nul(part) for pair in value.items() for part in pair)
    return isinstance(value, list) and any(_has_nul(part) for part in value)


def _no_constant(name: str) -> Any:
    raise ValueError(name)


def body_of(request: Request) -> dict[str, Any]:
    """The JSON object that was sent; raises Invalid for any other value."""
    body = request.data
    if not isinstance(body, dict):
        raise Invalid.one("", _("Send a JSON object."))
    return body


def text_member(body: Mapping[str, Any], name: str, *, optional: bool = False) -> str:
    """A text of the body; raises Invalid."""
    value = body.get(name, "" if optional else None)
    if not isinstance(value, str):
        raise Invalid.one(f"/{name}", _("Give this as text."))
    return value


def only_members(body: Mapping[str, Any], *names: str) -> None:
    """Raise Invalid for a member that nobody would read."""
    if strange := sorted(set(body) - set(names)):
        pointer = "/" + strange[0].replace("~", "~0").replace("/", "~1")
        raise Invalid.one(pointer, _("There is no such field. Take it out or correct its name."))


def query_of(request: Request, *names: str) -> dict[str, str]:
    """The query parameters, each at most once and none that nobody would read."""
    found: dict[str, str] = {}
    for name, values in request.query_params.lists():
        if name not in names:
            raise Unreadable(name[:80], _("There is no such parameter here."))
        if len(values) > 1:
            raise Unreadable(name, _("Give this parameter once."))
        if "\x00" in values[0] or len(values[0]) > 200:
            raise Unreadable(name, _("This value cannot be read."))
        found[name] = values[0]
    return found


def once_per_key(
    request: Request, deed: Callable[[], Answer], *, body_hash: str | None = None
) -> Response:
    """Do the deed; with an Idempotency-Key, once for that key of that token."""
    key = request.headers.get("Idempotency-Key")
    if key is None:
        done = deed()
        return Response(_in_order(done.body), done.status)
    if not _KEY.fullmatch(key):
        message = _("A key has 1 to 255 visible ASCII characters and no spaces.")
        raise Unreadable("Idempotency-Key", message)
    if body_hash is None:
        canonical = json.dumps(request.data, sort_keys=True, separators=(",", ":"))
        body_hash = hashlib.sha256(canonical.encode()).hexdigest()
    done = once(
        scope=f"token:{token_of(request).pk}",
        key=key,
        route=f"{request.method} {request.path}",
        body_hash=body_hash,
        deed=deed,
    )
    headers = {"Idempotency-Replayed": "true"} if done.is_replay else {}
    return Response(_in_order(done.body), done.status, headers=headers)


def _in_order(body: dict[str, Any]) -> Any:
    """The answer with its members in the order of their names: a database that stored it may have
    given it another order, and a repeated answer is the same to the byte."""
    return json.loads(json.dumps(body, sort_keys=True))
