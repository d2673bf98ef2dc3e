"""Registering a dog the club does not know: twice the chip, and what a scanner's Enter does."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from registry.models import Dog, Draft
from tests.factories import Club
from tests.web.clinic.desk import text_of, value_of

REGISTER = "/clinic/results/new/register/"


@pytest.fixture
def boxes(club: Club) -> dict[str, Any]:
    return {
        "chip": "276 090 000 777 777",
        "chip_again": "276090000777777",
        "name": "Fellgate Bramble",
        "breed": club.breed.slug,
        "sex": "M",
        "born_on": "1 March 2026",
        "register": "yes",
    }


def test_a_dog_is_registered_unconfirmed_and_its_draft_begins(
    nurse: Client, boxes: dict[str, Any]
) -> None:
    response = nurse.post(REGISTER, boxes)

    dog = Dog.objects.get(chip="276090000777777")
    assert not dog.is_confirmed
    draft = Draft.objects.get(dog=dog)
    assert response.headers["Location"] == f"/clinic/drafts/{draft.public_id}/examination/"


def test_the_number_looked_up_is_asked_for_once_more_only(nurse: Client) -> None:
    page = nurse.get(REGISTER, {"chip": "276090000777777"})

    assert value_of(page, "chip") == "276090000777777"
    assert value_of(page, "chip_again") == ""


def test_two_different_numbers_register_nothing(nurse: Client, boxes: dict[str, Any]) -> None:
    response = nurse.post(REGISTER, {**boxes, "chip_again": "276090000777778"})

    assert response.status_code == 422
    assert "The two chip numbers differ." in text_of(response)
    assert value_of(response, "name") == "Fellgate Bramble"
    assert not Dog.objects.filter(name="Fellgate Bramble").exists()


def test_a_scanners_enter_only_compares(nurse: Client, boxes: dict[str, Any]) -> None:
    del boxes["register"]
    response = nurse.post(REGISTER, {**boxes, "name": "", "compare": "yes"})

    assert response.status_code == 200
    assert "The two chip numbers are the same." in text_of(response)
    assert "There is a problem" not in text_of(response)
    assert not Draft.objects.exists()


def test_the_button_a_scanners_enter_presses_is_the_comparing_one(nurse: Client) -> None:
    form = nurse.get(REGISTER).content.decode().split('role="search"')[-1].split("<main")[-1]

    assert form.index('name="compare"') < form.index('name="register"')


@pytest.mark.parametrize(
    ("box", "typed", "words"),
    [
        ("name", "", "Enter the dog's registered name."),
        ("sex", "", "Choose female or male."),
        ("breed", "", "Choose the breed."),
        ("born_on", "2/3/2026", "can be read two ways"),
        ("born_on", "1 March 2030", "Enter a birth date from 1980 to today."),
        ("chip", "12", "A chip number has 15 digits."),
        ("sire", "276090000999999", "No dog has this chip."),
    ],
)
def test_each_fault_is_said_at_its_box_and_in_the_summary(
    nurse: Client, boxes: dict[str, Any], box: str, typed: str, words: str
) -> None:
    response = nurse.post(REGISTER, {**boxes, box: typed})

    assert response.status_code == 422
    assert text_of(response).count(words) == 2
    assert f'href="#id_{box}' in response.content.decode()
    assert "<title>Error: " in response.content.decode()


def test_a_chip_of_another_dog_is_refused_with_its_name(
    nurse: Client, juno: Dog, boxes: dict[str, Any]
) -> None:
    response = nurse.post(REGISTER, {**boxes, "chip": juno.chip, "chip_again": juno.chip})

    assert response.status_code == 422
    assert "This chip is registered for Tarnfold Juno." in text_of(response)
