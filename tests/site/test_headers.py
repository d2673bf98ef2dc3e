"""What every answer carries, on every route of the address book."""

import pytest
from django.contrib.staticfiles import finders
from django.test import Client

from tests.routes import Route, all_routes

ROUTES = all_routes()
# Signing in and out is about a cookie; everything else a visitor can reach is not.
ANONYMOUS = [
    route
    for route in ROUTES
    if route.namespace in {"", "buyer", "breeder"}
    and not route.path.startswith(("/sign-", "/rooms/", "/account/", "/welcome/"))
]

# Only an explorer's page may add to this, and only two hashes: the charting script puts an
# empty style element on the page, filled by the CSSOM, and one with rules for maps.
PLOTLY_STYLES = {
    "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='",
    "'sha256-ji27qzEtxXZW+7dun6UwjHXJ18e6WAin1VvNtkzIE/o='",
}
POLICY = {
    "default-src": ["'none'"],
    "script-src": ["'self'"],
    "style-src": ["'self'"],
    "img-src": ["'self'", "data:"],
    "font-src": ["'self'"],
    "connect-src": ["'self'"],
    "manifest-src": ["'self'"],
    "form-action": ["'self'"],
    "frame-ancestors": ["'none'"],
    "base-uri": ["'none'"],
}


def _policy(header: str) -> dict[str, list[str]]:
    """Return a Content-Security-Policy as directive → sources."""
    directives = (part.split() for part in header.split(";") if part.strip())
    return {name: sources for name, *sources in directives}


def test_the_address_book_has_routes() -> None:
    assert len(ROUTES) > 10
    assert {"buyer", "clinic", "registrar", "secretary"} <= {route.namespace for route in ROUTES}


@pytest.mark.django_db
@pytest.mark.parametrize("route", ROUTES, ids=str)
class TestEveryRoute:
    def test_its_policy_allows_only_our_own(self, route: Route, client: Client) -> None:
        response = client.get(route.path)

        policy = _policy(response["Content-Security-Policy"])
        if route.path.endswith(("/explore/", "/course/", "/ahead/")):
            policy["style-src"] = [
                word for word in policy["style-src"] if word not in PLOTLY_STYLES
            ]
        assert policy == POLICY

    def test_it_carries_the_other_headers(self, route: Route, client: Client) -> None:
        response = client.get(route.path)

        assert response["X-Content-Type-Options"] == "nosniff"
        assert response["X-Frame-Options"] == "DENY"
        assert response["Referrer-Policy"] == "same-origin"
        assert response["Cross-Origin-Opener-Policy"] == "same-origin"
        assert response["Cross-Origin-Resource-Policy"] == "same-origin"
        assert "camera=()" in response["Permissions-Policy"]
        assert response["X-Request-ID"]

    def test_it_answers_without_a_server_error(self, route: Route, client: Client) -> None:
        assert client.get(route.path).status_code < 500


@pytest.mark.django_db
@pytest.mark.parametrize("route", ANONYMOUS, ids=str)
class TestBuyersRoutes:
    def test_a_visitor_gets_no_cookie(self, route: Route, client: Client) -> None:
        response = client.get(route.path)

        assert response.cookies == {}

    def test_nothing_depends_on_a_cookie(self, route: Route, client: Client) -> None:
        response = client.get(route.path)

        assert "Cookie" not in response.get("Vary", "")


def test_an_unknown_page_carries_the_policy_too(client: Client) -> None:
    response = client.get("/no/such/page")

    assert response.status_code == 404
    assert _policy(response["Content-Security-Policy"]) == POLICY


class TestStaticFiles:
    def test_plotlys_script_is_found(self) -> None:
        assert str(finders.find("plotly/plotly.min.js")).endswith("plotly.min.js")

    @pytest.mark.parametrize("name", ["plotly/datasets/iris.csv.gz", "plotly/widgetbundle.js"])
    def test_nothing_else_of_the_package_is_served(self, name: str) -> None:
        assert finders.find(name) is None
