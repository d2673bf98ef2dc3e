"""The tested puppies of one litter, compared, and the next step."""

from __future__ import annotations

from datetime import date
from html import unescape
from typing import Any

import pytest
from django.test import Client

from registry.models import Dog
from tests.factories import Club, make_accepted, make_dog


@pytest.fixture
def litter(club: Club) -> list[Dog]:
    """Four puppies, none of them tested."""
    sire = make_dog(club, name="Fellgate Otto", sex="M", born_on=date(2019, 4, 1))
    dam = make_dog(club, name="Mosedale Wren", born_on=date(2019, 3, 1))
    parents: dict[str, Any] = {"sire": sire.public_id, "dam": dam.public_id}
    return [
        make_dog(club, name=f"Tarnfold {name}", sex=sex, **parents)
        for name, sex in (("Jade", "F"), ("Jess", "F"), ("Jock", "M"), ("Juno", "F"))
    ]


def page(client: Client, dog: Dog) -> str:
    return unescape(client.get(f"/dogs/{dog.public_id}/litter/").content.decode())


def test_tested_puppies_stand_in_one_list_from_the_better_end(
    client: Client, club: Club, litter: list[Dog]
) -> None:
    for dog, value in zip(litter, ("0.50", "0.31", "0.44"), strict=False):
        make_accepted(club, dog, left=value, right=value)

    html = page(client, litter[3])

    table = html.split('class="list compared"')[1].split("</ul>")[0]
    places = [table.index(name) for name in ("Jess", "Jock", "Jade")]
    assert places == sorted(places)
    assert "Juno" not in table
    assert "Puppies of this litter with a result to show: 3 of 4." in html
    assert "The 3 tested puppies lie between 0.31 and 0.50, each with its worse side." in html


def test_the_next_step_is_said_in_words(client: Client, club: Club, litter: list[Dog]) -> None:
    for dog in litter[:2]:
        make_accepted(club, dog)

    html = page(client, litter[0])

    assert "may be kept for breeding, if the health of the whole dog agrees." in html
    assert "2 puppies have no result to show. Ask their owners whether they were tested" in html
    assert "Talk to a vet before you decide." in html
    assert "It is not a diagnosis and not a promise." in html


@pytest.mark.parametrize("tested", [0, 1])
def test_below_two_tested_puppies_nothing_is_compared(
    client: Client, club: Club, litter: list[Dog], tested: int
) -> None:
    for dog in litter[:tested]:
        make_accepted(club, dog)

    html = page(client, litter[0])

    assert "It takes two tested puppies to compare." in html
    assert "compared" not in html
    assert "kept for breeding" not in html


def test_a_private_result_is_no_result_to_show(
    client: Client, club: Club, litter: list[Dog]
) -> None:
    make_accepted(club, litter[0], left="0.31", right="0.31")
    make_accepted(club, litter[1], left="0.71", right="0.77", consent_to_publish=False)

    html = page(client, litter[0])

    assert "Puppies of this litter with a result to show: 1 of 4." in html
    assert "0.77" not in html
    assert "compared" not in html


def test_puppies_with_one_value_are_not_parted(
    client: Client, club: Club, litter: list[Dog]
) -> None:
    for dog in litter[:2]:
        make_accepted(club, dog, left="0.31", right="0.31")

    assert "Both tested puppies have 0.31." in page(client, litter[0])


def test_of_a_trait_where_higher_is_better_the_highest_comes_first(
    client: Client, club: Club, litter: list[Dog]
) -> None:
    for dog, value in zip(litter, ("101.5", "106.0"), strict=False):
        readings = [
            {"trait": "norberg-angle", "side": side, "value": value} for side in ("left", "right")
        ]
        make_accepted(club, dog, readings=readings)

    table = page(client, litter[0]).split('class="list compared"')[1].split("</ul>")[0]

    assert 0 < table.index("Jess") < table.index("Jade")


def test_a_dog_without_a_dam_on_record_says_so(client: Client, club: Club) -> None:
    html = page(client, make_dog(club))

    assert "The dam is not on record, so its litter mates are not known." in html
