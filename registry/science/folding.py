"""Names folded for searching: what makes two spellings of one name meet.

Text in, text out. The folded forms are stored beside a name and a typed query is folded the same
way; ranking and the database's own index are not here.
"""

from __future__ import annotations

import re
import unicodedata

# Letters that Unicode does not take apart into a base letter and a mark.
_LETTERS = str.maketrans(
    {
        "ø": "o",
        "ł": "l",
        "đ": "d",
        "ð": "d",
        "þ": "th",
        "æ": "ae",
        "œ": "oe",
        "ħ": "h",
        "ı": "i",
        "ŋ": "n",
        "ŧ": "t",
        "ə": "e",
    }
)
# Left out rather than made a space, so that O'Hara, O’Hara and OHara are one word.
_APOSTROPHES = re.compile("['`´ʹʻʼʽˈ‘’‛′＇]")
_NOT_WORD = re.compile(r"[\W_]+")


def fold(text: str) -> str:
    """Return the text without case, accents and punctuation, its words parted by one space."""
    bare = _APOSTROPHES.sub("", text)
    plain = unicodedata.normalize("NFKD", bare).casefold().translate(_LETTERS)
    # Once more: case folding can itself bring a mark (the dotted capital I of Turkish does).
    marks_off = "".join(
        letter
        for letter in unicodedata.normalize("NFKD", plain)
        if not unicodedata.category(letter).startswith(("M", "C"))
    )
    return _NOT_WORD.sub(" ", marks_off).strip()
