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


def page_of(
    rows: QuerySet[Any], query: dict[str, str], *, newest_first: bool = True
) -> tuple[list[Any], str | None]:
    """A page of rows by primary key and the cursor of the next page, None at the end."""
    limit = _limit(query)
    if (cursor := query.get("cursor")) is not None:
        last = _decoded(cursor)
        rows = rows.filter(pk__lt=last) if newest_first else rows.filter(pk__gt=last)
    found = list(rows.order_by("-pk" if newest_first else "pk")[: limit + 1])
    if len(found) <= limit:
        return found, None
    return found[:limit], _encoded(found[limit - 1].pk)


def _limit(query: dict[str, str]) -> int:
    text = query.get("limit", str(USUAL))
    if not (text.isascii() and text.isdigit()) or len(text) > 3 or not 1 <= int(text) <= MOST:
        raise Unreadable("limit", _("Give a whole number from 1 to 100."))
    return int(text)


def _encoded(pk: int) -> str:
    return base64.urlsafe_b64encode(f"after:{pk}".encode()).decode().rstrip("=")


def _decoded(cursor: str) -> int:
    try:
        text = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
    except ValueError:
        text = ""
    word, _colon, number = text.partition(":")
    if word != "after" or not number.isascii() or not number.isdigit() or len(number) > 18:
        raise Unreadable("cursor", _("Use the cursor that the list before gave."))
    return int(number)
