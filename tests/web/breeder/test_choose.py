"""Where a breeder begins: choose a dog; and how one gets there from other pages."""

from __future__ import annotations

from django.test import Client

from tests.factories import Club
from tests.web.breeder.conftest import Cast


def test_a_name_with_a_slip_finds_the_dog_and_leads_to_its_mates(
    client: Client, cast: Cast
) -> None:
    html = client.get("/breeding/", {"q": "tarnfodl juno"}).content.decode()

    assert f'href="/dogs/{cast.juno.public_id}/mates/"' in html


def test_a_chip_leads_straight_to_the_mates(client: Client, cast: Cast) -> None:
    response = client.get("/breeding/", {"q": str(cast.juno.chip)})

    assert response.status_code == 302
    assert response["Location"] == f"/dogs/{cast.juno.public_id}/mates/"


def test_a_name_nobody_has_is_said_so_and_stays(client: Client, cast: Cast) -> None:
    html = client.get("/breeding/", {"q": "zzzz qqqq"}).content.decode()

    assert "0 results for “zzzz qqqq”" in html
    assert 'value="zzzz qqqq"' in html


def test_it_says_what_it_can_and_cannot_do_and_from_which_run(client: Client, cast: Cast) -> None:
    html = client.get("/breeding/").content.decode()

    assert "What these pages can do" in html
    assert "They cannot promise how one puppy turns out." in html
    assert cast.club.breed.name in html
    assert "Run 1, " in html


def test_before_the_first_run_it_says_so(client: Client, club: Club) -> None:
    assert "There is no breeding run yet." in client.get("/breeding/").content.decode()


def test_the_dogs_page_the_certificate_and_the_breed_lead_here(client: Client, cast: Cast) -> None:
    dog = cast.juno.public_id
    number = cast.juno.evaluations.get().certificate.number

    for path in (f"/dogs/{dog}/", f"/C/{number}"):
        html = client.get(path).content.decode()
        assert f'href="/dogs/{dog}/mates/"' in html, path
        assert f'href="/dogs/{dog}/litter/"' in html, path
    for path in ("/", f"/breeds/{cast.club.breed.slug}/"):
        assert 'href="/breeding/"' in client.get(path).content.decode(), path
