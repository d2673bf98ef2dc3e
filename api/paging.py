"""Pages of a list by cursor: an opaque mark of the last row, so that no row is skipped or doubled
while others are written."""

from __future__ import annotations

import base64
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from api.problems import Unreadable

MOST = 100
USUAL = 50
_MOST_DIGITS = 18


def page_of(
    rows: QuerySet[Any], query: dict[str, str], *, newest_first: bool = True
) -> tuple[list[Any], str | None]:
    """A page of rows by primary key and the cursor of the next page, None at the end."""
    limit = limit_of(query)
    if (cursor := query.get("cursor")) is not None:
        last = _decoded(cursor)
        rows = rows.filter(pk__lt=last) if newest_first else rows.filter(pk__gt=last)
    found = list(rows.order_by("-pk" if newest_first else "pk")[: limit + 1])
    if len(found) <= limit:
        return found, None
    return found[:limit], _encoded(found[limit - 1].pk)


def limit_of(query: dict[str, str]) -> int:
    """How many rows a page has; raises Unreadable."""
    text = query.get("limit", str(USUAL))
    if not (text.isascii() and text.isdigit()) or len(text) > 3 or not 1 <= int(text) <= MOST:
        raise Unreadable("limit", _("Give a whole number from 1 to 100."))
    return int(text)


def ranked_cursor(run: int, first: int, last: str) -> str:
    """The cursor of a ranked list: from which run, at which place to go on, and after which dog."""
    return _opaque(f"ranked:{run}:{first}:{last}")


def ranked_place(cursor: str) -> tuple[int, int, str]:
    """What ``ranked_cursor`` was made of; raises Unreadable."""
    word, *parts = _plain(cursor).split(":")
    if word != "ranked" or len(parts) != 3 or not all(map(_is_number, parts[:2])):
        raise _not_ours()
    return int(parts[0]), int(parts[1]), parts[2]


def _encoded(pk: int) -> str:
    return _opaque(f"after:{pk}")


def _decoded(cursor: str) -> int:
    word, _colon, number = _plain(cursor).partition(":")
    if word != "after" or not _is_number(number):
        raise _not_ours()
    return int(number)


def _opaque(text: str) -> str:
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def _plain(cursor: str) -> str:
    try:
        return base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
    except ValueError:
        return ""


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS


def _not_ours() -> Unreadable:
    return Unreadable("cursor", _("Use the cursor that the list before gave."))
