"""Whose token it is: the JSON shape beside the function that fills it."""

from __future__ import annotations

from typing import Any

from api.shapes.common import ID, INSTANT, TEXT, closed, list_of, maybe
from registry.ledger.append import instant_text
from registry.models import ApiToken

ME = closed(
    {
        "role": {"type": "string", "enum": ["clinic", "registrar", "secretary"]},
        "name": TEXT,
        "clinic": maybe(closed({"id": ID, "name": TEXT})),
        "scopes": list_of(TEXT),
        "token": TEXT,
        "expires_at": INSTANT,
    }
)


def me(token: ApiToken) -> dict[str, Any]:
    """The role a token stands for; of the token itself only its first letters."""
    clinic = token.membership.clinic
    return {
        "role": str(token.membership.role),
        "name": str(token.membership.user),
        "clinic": {"id": clinic.public_id, "name": clinic.name} if clinic else None,
        "scopes": list(token.scopes),
        "token": token.prefix,
        "expires_at": instant_text(token.expires_at),
    }
