"""The pages of the journeys notice what no page of ours may do."""

import pytest
from playwright.sync_api import Route

from tests.browser import OpenPage, Problems

_SITE = "http://localhost:9/"


def _visit(open_page: OpenPage, body: str, policy: str = "default-src 'self'") -> None:
    """Show a page with this body under this policy, as our own site would."""

    def answer(route: Route) -> None:
        if route.request.url == _SITE:
            headers = {"Content-Security-Policy": policy, "Content-Type": "text/html"}
            route.fulfill(body=f"<!doctype html><title>x</title>{body}", headers=headers)
        else:
            route.fulfill(body="")

    with open_page() as page:
        page.route("**/*", answer)
        page.goto(_SITE, wait_until="networkidle")


def test_a_quiet_page_is_fine(open_page: OpenPage) -> None:
    _visit(open_page, "<p>Nothing to see.</p>")


def test_a_broken_content_policy_is_noticed(open_page: OpenPage) -> None:
    with pytest.raises(AssertionError, match="Content Security Policy"):
        _visit(open_page, "<script>document.title = 'y'</script>")


def test_a_failing_script_is_noticed(open_page: OpenPage) -> None:
    with pytest.raises(AssertionError, match="is not defined"):
        _visit(open_page, "<script>nothing()</script>", "default-src 'unsafe-inline'")


def test_a_request_to_another_host_is_noticed(open_page: OpenPage) -> None:
    with pytest.raises(AssertionError, match=r"another host: http://elsewhere\.invalid/a\.png"):
        _visit(open_page, "<img src='http://elsewhere.invalid/a.png' alt=''>", "default-src *")


def test_axe_names_an_image_without_words(open_page: OpenPage, axe_problems: Problems) -> None:
    with open_page() as page:
        page.set_content("<!doctype html><html lang=en><title>x</title><img src='data:,'></html>")

        found = axe_problems(page)

    assert any("image-alt" in line for line in found)
