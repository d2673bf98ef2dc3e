"""Texts on their way into a CSV file, so that a spreadsheet never takes one for a formula."""

from __future__ import annotations

_STARTERS = ("=", "+", "-", "@", "\t", "\r", "\n")


def harmless(text: str) -> str:
    """The text, with an apostrophe before it where a spreadsheet would compute it.

    Plain numbers such as ``-3.5`` are left alone: they compute to themselves.
    """
    if text.startswith(_STARTERS) and not _is_number(text):
        return f"'{text}"
    return text


def _is_number(text: str) -> bool:
    return text.lstrip("+-").replace(".", "", 1).isdecimal()
