"""One box: a number leads to its certificate, a chip to its dog."""

from __future__ import annotations

from django.test import Client

from registry.models import Certificate
from tests import factories
from tests.factories import Club


def test_a_number_leads_straight_to_its_certificate(client: Client, juno: Certificate) -> None:
    number = juno.number

    response = client.get("/find/", {"q": f" {number[:3].lower()} {number[3:7]}-{number[7:]} "})

    assert response.headers["Location"] == f"/C/{number}"


def test_a_number_typed_on_a_dogs_page_is_checked_against_that_dog(
    client: Client, club: Club, juno: Certificate
) -> None:
    other = factories.make_dog(club, name="Rookhope Bran")

    html = client.get("/find/", {"q": juno.number, "dog": other.public_id}, follow=True)

    assert "Number is for a different dog" in html.content.decode()


def test_a_chip_leads_to_its_dog(client: Client, juno: Certificate) -> None:
    dog = juno.evaluation.dog
    assert dog.chip is not None

    response = client.get("/find/", {"q": f"{dog.chip[:3]} {dog.chip[3:]}"})

    assert response.headers["Location"] == f"/dogs/{dog.public_id}/"


def test_nothing_typed_leads_back_to_the_box(client: Client, db: None) -> None:
    assert client.get("/find/", {"q": "  "}).headers["Location"] == "/"


def test_help_is_in_the_same_place_of_every_page(client: Client, juno: Certificate) -> None:
    dog = juno.evaluation.dog
    paths = ["/", "/help/", "/privacy/", "/breeds/", f"/C/{juno.number}", f"/dogs/{dog.public_id}/"]

    pages = [client.get(path).content.decode() for path in paths]

    assert all('<li><a href="/help/"' in page.split("</header>")[0] for page in pages)
    assert all(page.count("<h1") == 1 for page in pages)
    titles = [page.split("<title>")[1].split("</title>")[0] for page in pages]
    assert len(set(titles)) == len(titles)


def test_open_pages_set_no_cookie_and_run_no_script(client: Client, juno: Certificate) -> None:
    dog = juno.evaluation.dog
    paths = ["/", "/help/", "/privacy/", "/breeds/", f"/C/{juno.number}", f"/dogs/{dog.public_id}/"]

    for path in paths:
        response = client.get(path)
        assert not response.cookies
        assert "<script" not in response.content.decode()


def test_a_name_with_a_slip_lists_the_dog_with_what_tells_it_apart(
    client: Client, juno: Certificate
) -> None:
    html = client.get("/find/", {"q": "tarnfold jnuo"}).content.decode()

    dog = juno.evaluation.dog
    assert f'href="/dogs/{dog.public_id}/"' in html
    assert "female" in html
    assert str(dog.born_on.year) in html
    assert "Fellgate Otto × Mosedale Wren" in html


def test_no_result_is_said_with_what_was_typed_and_how_to_go_on(client: Client, club: Club) -> None:
    html = client.get("/find/", {"q": "Qqxz <b>"}).content.decode()

    assert "0 results for “Qqxz &lt;b&gt;”" in html
    assert "Try a part of the name" in html


def test_a_slip_in_a_number_is_said_beside_the_list(client: Client, juno: Certificate) -> None:
    number = juno.number
    wrong = "1" if number[0] != "1" else "2"

    html = client.get("/find/", {"q": wrong + number[1:]}).content.decode()

    assert "One letter or digit looks wrong" in html
