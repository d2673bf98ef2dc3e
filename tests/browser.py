"""Fixtures for journeys in a real Chromium: pages of a desk, a phone and a reader without scripts.

Each page watches itself: an error in the console (a broken Content Security
Policy among them), a failed request or a request to any other host fails the
test at its end.
"""

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import Any
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from tests import reach

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
DESK = {"width": 1280, "height": 900}
PHONE = {"width": 320, "height": 568}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

_NOT_LOADED = "Failed to load resource: the server responded with a status of"

OpenPage = Callable[..., AbstractContextManager[Page]]
Problems = Callable[[Page], list[str]]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for the session."""
    # Playwright keeps an event loop in this thread, which Django takes for async code.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=reach.browser(), args=ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def open_page(browser: Browser) -> OpenPage:
    """Return a context manager `open_page(**context_options)` for a page that watches itself.

    ``refusals`` are the HTTP statuses of the refusals that the test is about: Chromium notes each
    as an error in the console.
    """

    @contextmanager
    def opened(*, refusals: Sequence[int] = (), **options: Any) -> Iterator[Page]:
        context = browser.new_context(locale="en-GB", **options)
        page = context.new_page()
        page.set_default_timeout(10_000)
        trouble: list[str] = []
        _watch(page, trouble)
        try:
            yield page
        finally:
            context.close()
        meant = [f"console: {_NOT_LOADED} {status} " for status in refusals]
        assert [each for each in trouble if not each.startswith(tuple(meant))] == []

    return opened


def _watch(page: Page, trouble: list[str]) -> None:
    """Note everything on the page that no page of ours may do."""
    page.on(
        "console",
        lambda message: (
            trouble.append(f"console: {message.text}") if message.type == "error" else None
        ),
    )
    page.on("pageerror", lambda error: trouble.append(f"script: {error}"))

    def to_another_host(url: str) -> None:
        parts = urlsplit(url)
        is_ours = parts.scheme in {"data", "blob", "about"} or parts.hostname in {
            "localhost",
            "127.0.0.1",
        }
        if not is_ours:
            trouble.append(f"request to another host: {url}")

    page.on("request", lambda request: to_another_host(request.url))


@pytest.fixture
def page(open_page: OpenPage) -> Iterator[Page]:
    """A page on a desk's screen."""
    with open_page(viewport=DESK) as opened:
        yield opened


@pytest.fixture
def phone(open_page: OpenPage) -> Iterator[Page]:
    """A page on the smallest phone, with touch."""
    with open_page(viewport=PHONE, is_mobile=True, has_touch=True) as opened:
        yield opened


@pytest.fixture
def scriptless(open_page: OpenPage) -> Iterator[Page]:
    """A page in a browser with JavaScript switched off."""
    with open_page(viewport=DESK, java_script_enabled=False) as opened:
        yield opened


@pytest.fixture(scope="session")
def axe_problems() -> Problems:
    """Return a function that gives axe's violations and open questions on a page, one a line."""
    axe = Axe()

    def problems(page: Page) -> list[str]:
        found = axe.run(page, options={"runOnly": RULES}).response
        return [
            f"{kind}: {rule['id']}: {rule['help']}: "
            + "; ".join(node["html"][:160] for node in rule["nodes"])
            for kind in ("violations", "incomplete")
            for rule in found[kind]
        ]

    return problems
