"""Request ids and the headers that keep browsers out of mischief."""

import pytest
from django.test import Client


@pytest.mark.django_db
class TestRequestId:
    def test_a_request_without_one_gets_a_random_one(self, client: Client) -> None:
        first, second = client.get("/healthz"), client.get("/healthz")

        assert len(first["X-Request-ID"]) == 32
        assert first["X-Request-ID"] != second["X-Request-ID"]

    def test_a_well_formed_one_is_kept(self, client: Client) -> None:
        response = client.get("/healthz", headers={"X-Request-ID": "clinic-4.2026_10"})

        assert response["X-Request-ID"] == "clinic-4.2026_10"
        assert response.wsgi_request.request_id == "clinic-4.2026_10"  # type: ignore[attr-defined]

    @pytest.mark.parametrize(
        "offered", ["short", "x" * 65, "two words", "<script>x", "ümlaut-in-it", "a;b;c;d;e;f"]
    )
    def test_any_other_is_replaced(self, offered: str, client: Client) -> None:
        response = client.get("/healthz", headers={"X-Request-ID": offered})

        assert response["X-Request-ID"] != offered
        assert len(response["X-Request-ID"]) == 32


@pytest.mark.django_db
def test_every_answer_switches_off_what_our_pages_never_use(client: Client) -> None:
    response = client.get("/healthz")

    assert "camera=()" in response["Permissions-Policy"]
    assert "geolocation=()" in response["Permissions-Policy"]
    assert response["Cross-Origin-Resource-Policy"] == "same-origin"
    assert response["Cross-Origin-Opener-Policy"] == "same-origin"
    assert response["Referrer-Policy"] == "same-origin"
