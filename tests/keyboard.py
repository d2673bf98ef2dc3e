"""A person at a keyboard: moves by Tab alone, and must always see where they are."""

from __future__ import annotations

from playwright.sync_api import Page

_MOST_TABS = 120
_WHERE = """selector => { const e = document.activeElement, r = e.getBoundingClientRect();
const ring = getComputedStyle(e).outlineStyle;
return { there: e.matches(selector), what: e.outerHTML.slice(0, 80),
ring, top: r.top, bottom: r.bottom, height: innerHeight } }"""


class Keyboard:
    """The keys of one page; ``tabs`` counts how often Tab was pressed."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.tabs = 0
        # Where the page glides to the focus, a test would look for it before it has arrived.
        page.emulate_media(reduced_motion="reduce")

    def to(self, selector: str) -> None:
        """Press Tab until the selector has the focus; what has it on the way must show it."""
        for _press in range(_MOST_TABS):
            self.page.keyboard.press("Tab")
            self.tabs += 1
            where = self.page.evaluate(_WHERE, selector)
            is_seen = (
                where["ring"] != "none" and where["bottom"] > 0 and where["top"] < where["height"]
            )
            assert is_seen or where["what"].startswith("<body"), where
            if where["there"]:
                return
        raise AssertionError(f"{selector} is not reached by Tab")

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def enter(self, leads_to: str) -> None:
        """Press Enter and wait for the address it leads to."""
        with self.page.expect_navigation(url=leads_to):
            self.page.keyboard.press("Enter")
        self.page.wait_for_load_state()

    def fill(self, selector: str, text: str) -> None:
        self.to(selector)
        self.page.keyboard.type(text)

    def into_main(self) -> None:
        """By the skip link; after a redirect the browser is still where that led before."""
        if self.page.url.endswith("#main"):
            return
        self.to(".skip")
        self.page.keyboard.press("Enter")
