"""Reasons: most deeds that change what was said before want one, and it is kept as it was given."""

from __future__ import annotations

from django.utils.translation import gettext as _

from registry.desk.errors import Invalid

MOST_SIGNS = 4000


def needed(reason: str, missing: str) -> str:
    """The reason without blanks around it; raises Invalid with the words ``missing`` when there is
    none, and for one that is too long as it was sent."""
    given = at_most(reason)
    if not given:
        raise Invalid.one("/reason", missing)
    return given


def at_most(reason: str) -> str:
    """The reason, which may be none."""
    if len(reason) > MOST_SIGNS:
        raise Invalid.one("/reason", _("Shorten the reason to 4,000 characters."))
    return reason.strip()
