"""What the page of a trait says of how fair its comparison is today."""

from __future__ import annotations

from datetime import date

from django.test import Client

from tests import factories
from tests.factories import Club

NEWER = "Newer dogs are tighter."


def _page(client: Client, club: Club, **query: str) -> str:
    return client.get(f"/breeds/{club.breed.slug}/hip-laxity/", query).content.decode()


def _accept(club: Club, values: range, examined_on: str) -> None:
    for value in values:
        text = f"0.{value}"
        dog = factories.make_dog(club, born_on=date(2020, 3, 1))
        factories.make_accepted(club, dog, left=text, right=text, examined_on=examined_on)


def test_newer_dogs_that_are_tighter_are_told_apart(client: Client, club: Club) -> None:
    _accept(club, range(40, 60), "2022-05-04")
    _accept(club, range(20, 40), "2026-05-04")

    html = _page(client, club)

    assert NEWER in html
    assert (
        "Of 100 dogs with released results, about 25 are tighter than the middle dog of the last"
        " three years." in html
    )
    assert NEWER not in _page(client, club, as_of="1 May 2024")


def test_dogs_of_one_time_are_not_told_apart(client: Client, club: Club) -> None:
    _accept(club, range(20, 60), "2026-05-04")

    assert "Newer dogs are" not in _page(client, club)
