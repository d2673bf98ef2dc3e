"""One page of the site as a plain file: it says since when it is frozen, and offers nothing that
needs a server."""

from __future__ import annotations

import re
from collections.abc import Callable
from html import escape
from html.parser import HTMLParser
from urllib.parse import urlsplit

_STATIC = "/static/"
_GONE = "<span data-gone>"
# What only led to the server is left out: an item of a list, then a section without any.
_ITEM_GONE = re.compile(rf"<li>\s*{_GONE}[^<]*</span>\s*</li>")
_SECTION_GONE = re.compile(r"<section[^>]*>\s*<h2[^>]*>[^<]*</h2>\s*<ul[^>]*>\s*</ul>\s*</section>")
_DROPPED = ("form", "script")
_ADDRESSES = ("href", "src")


class _Freezer(HTMLParser):
    """Copies a page; drops forms and scripts, and turns links that lead nowhere into words."""

    def __init__(
        self, notice: str, leads_somewhere: Callable[[str], bool], instead_of_form: str
    ) -> None:
        super().__init__(convert_charrefs=False)
        self._instead_of_form = instead_of_form
        self.copied: list[str] = []
        self.static: set[str] = set()
        self._notice = notice
        self._leads_somewhere = leads_somewhere
        self._dropping: list[str] = []
        self._links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Copy a tag, unless it asks for a server."""
        if self._dropping or tag in _DROPPED:
            if tag == "form" and self._instead_of_form and not self._dropping:
                self._copy(f"<p>{escape(self._instead_of_form)}</p>")
            if tag in _DROPPED:
                self._dropping.append(tag)
            return
        given = dict(attrs)
        for name in _ADDRESSES:
            if (given.get(name) or "").startswith(_STATIC):
                self.static.add(urlsplit(given[name] or "").path.removeprefix(_STATIC))
        if tag == "a":
            is_dead = not self._leads_somewhere(given.get("href") or "")
            self._links.append("span" if is_dead else "a")
            if is_dead:
                self.copied.append(_GONE)
                return
        self._copy(self.get_starttag_text() or "")
        if tag == "main":
            self._copy(f'<p class="notice"><strong>{escape(self._notice)}</strong></p>')

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Copy a tag that ends itself, as drawings have them."""
        self._copy(self.get_starttag_text() or "")

    def handle_endtag(self, tag: str) -> None:
        """Close what was opened."""
        if self._dropping:
            if tag == self._dropping[-1]:
                self._dropping.pop()
            return
        if tag == "a" and self._links:
            tag = self._links.pop()
        self._copy(f"</{tag}>")

    def handle_data(self, data: str) -> None:
        """Copy words."""
        self._copy(data)

    def handle_entityref(self, name: str) -> None:
        """Copy a named sign as it was written."""
        self._copy(f"&{name};")

    def handle_charref(self, name: str) -> None:
        """Copy a numbered sign as it was written."""
        self._copy(f"&#{name};")

    def handle_decl(self, decl: str) -> None:
        """Copy the document type."""
        self._copy(f"<!{decl}>")

    def _copy(self, text: str) -> None:
        if not self._dropping:
            self.copied.append(text)


def frozen(
    page: str, *, notice: str, leads_somewhere: Callable[[str], bool], instead_of_form: str = ""
) -> tuple[str, set[str]]:
    """The page as a plain file, and which static files it needs, below /static/."""
    freezer = _Freezer(notice, leads_somewhere, instead_of_form)
    freezer.feed(page)
    freezer.close()
    text = _SECTION_GONE.sub("", _ITEM_GONE.sub("", "".join(freezer.copied)))
    return text.replace(_GONE, "<span>"), freezer.static


def static_of_style(text: str, own: str) -> set[str]:
    """The static files that a style sheet names, as paths beside its own."""
    folder = own.rpartition("/")[0]
    found = re.findall(r"""url\(\s*["']?([^"')]+)""", text)
    named = (each for each in found if not each.startswith(("data:", "#", "http")))
    return {f"{folder}/{each}".lstrip("/") for each in named}
