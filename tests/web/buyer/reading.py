"""How hard a page is to read: its visible words, sentences, and two formulas without a dictionary.

Automated Readability Index: Senter & Smith (1967), AMRL-TR-66-220. Coleman-Liau index: Coleman &
Liau (1975), J Appl Psychol 60:283-284. Both estimate the school grade that can read an English
text. Constants as published, from memory.
"""

from __future__ import annotations

import re
from html.parser import HTMLParser

_BLOCKS = {"p", "li", "dd", "dt", "h1", "h2", "h3", "figcaption", "caption", "th", "td", "label"}
_SILENT = {"script", "style", "svg", "title", "table", "summary", "nav", "button"}


class _Blocks(HTMLParser):
    """Text of a page by block; what is drawn, tabled or only navigated by is left out."""

    def __init__(self) -> None:
        super().__init__()
        self.blocks: list[str] = [""]
        self._silent = 0
        self._skipped: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in _SILENT:
            self._silent += 1
        if tag in _BLOCKS or tag == "br":
            self.blocks.append("")

    def handle_endtag(self, tag: str) -> None:
        if tag in _SILENT:
            self._silent -= 1
        if tag in _BLOCKS:
            self.blocks.append("")

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self.blocks[-1] += data


def sentences(html: str) -> list[str]:
    """The sentences of the blocks that end like one: with a full stop, question mark or colon."""
    main = html[html.index("<main") : html.index("</main>")]
    parser = _Blocks()
    parser.feed(main)
    found = []
    for block in parser.blocks:
        text = " ".join(block.split())
        if text.endswith((".", "?", ":")):
            found += re.split(r"(?<=[.?:])\s+(?=[A-Z0-9])", text)
    return found


def words(sentence: str) -> list[str]:
    return re.findall(r"[^\W_]+(?:[’'.-][^\W_]+)*", sentence)


def ari(parts: list[str]) -> float:
    """Automated Readability Index of sentences."""
    each = [word for part in parts for word in words(part)]
    letters = sum(len(re.sub(r"\W", "", word)) for word in each)
    return 4.71 * letters / len(each) + 0.5 * len(each) / len(parts) - 21.43


def coleman_liau(parts: list[str]) -> float:
    """Coleman-Liau index of sentences."""
    each = [word for part in parts for word in words(part)]
    letters = sum(len(re.sub(r"\W", "", word)) for word in each)
    return 5.88 * letters / len(each) - 29.6 * len(parts) / len(each) - 15.8
