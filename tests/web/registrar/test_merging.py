"""The registrar merges two entries of one dog: choose, compare, confirm."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client

from registry.models import Dog
from tests.factories import Club, make_accepted, make_club, make_dog

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def page(club: Club) -> Client:
    client = Client()
    client.force_login(club.registrar.user)
    return client


def at(dog: Dog, other: Dog | None = None) -> str:
    return f"/registrar/dogs/{dog.public_id}/merge/" + (
        f"?other={other.public_id}" if other else ""
    )


def answer(keep: Dog, drop: Dog, **more: object) -> dict[str, object]:
    return {
        "reason": "one dog, entered twice",
        "version": keep.version,
        "other_version": drop.version,
        **more,
    }


def test_the_other_entry_is_found_by_chip_name_or_id(club: Club, page: Client) -> None:
    keep, drop = make_dog(club), make_dog(club, name="Mossgarth Zephyr")

    for typed in (drop.chip, "mossgart zephyr", drop.public_id):
        shown = page.get(at(keep), {"q": typed or ""}).content.decode()
        assert f"?other={drop.public_id}" in shown


def test_both_stand_side_by_side_with_what_differs_and_moves(club: Club, page: Client) -> None:
    keep, drop = make_dog(club, colour="brown"), make_dog(club, colour="liver", call_name="Juno")
    make_accepted(club, drop)

    shown = page.get(at(keep, drop)).content.decode()

    assert "<td>brown</td><td>liver</td><td>Differs: the first one stays</td>" in shown
    assert "<td>–</td><td>Juno</td><td>Taken over</td>" in shown
    assert "1 result" in shown
    assert "different chips" in shown


def test_merging_leads_to_the_dog_and_its_old_page_does_too(club: Club, page: Client) -> None:
    keep, drop = make_dog(club), make_dog(club)

    done = page.post(at(keep, drop), answer(keep, drop, confirmed=["chips"]), follow=True)

    assert "The two entries are merged." in done.content.decode()
    assert "Another entry of this dog merged into it" in done.content.decode()
    assert str(drop.chip) in done.content.decode()
    old = page.get(f"/registrar/dogs/{drop.public_id}/")
    assert old["Location"] == f"/registrar/dogs/{keep.public_id}/"


def test_a_doubt_wants_its_tick_and_the_reason_stays(club: Club, page: Client) -> None:
    keep, drop = make_dog(club), make_dog(club)

    refused = page.post(at(keep, drop), answer(keep, drop))

    assert refused.status_code == 422
    assert "Confirm it if it is right." in refused.content.decode()
    assert "one dog, entered twice" in refused.content.decode()
    assert Dog.objects.filter(pk=drop.pk).exists()


def test_two_dogs_that_cannot_be_one_offer_no_button(club: Club, page: Client) -> None:
    shown = page.get(at(make_dog(club), make_dog(club, sex="M"))).content.decode()

    assert "These two cannot be merged" in shown
    assert "Merge the two entries" not in shown


def test_a_change_meanwhile_is_said_and_nothing_typed_is_lost(club: Club, page: Client) -> None:
    keep, drop = make_dog(club), make_dog(club, chip="")
    Dog.objects.filter(pk=drop.pk).update(version=2, colour="white")

    said = page.post(at(keep, drop), answer(keep, drop))

    assert said.status_code == 409
    assert "Compare them again." in said.content.decode()
    assert "one dog, entered twice" in said.content.decode()
    assert 'name="other_version" value="2"' in said.content.decode()


def test_a_parent_without_a_chip_is_kept_when_facts_are_corrected(club: Club, page: Client) -> None:
    dam = make_dog(club, chip="", born_on=date(2018, 1, 1))
    dog = make_dog(club, dam=dam.public_id)
    address = f"/registrar/dogs/{dog.public_id}/correct/"

    form = page.get(address).context["form"]

    assert form.initial["dam"] == dam.public_id
    page.post(address, {**form.initial, "died_on": "", "colour": "white", "reason": "papers"})
    dog.refresh_from_db()
    assert (dog.colour, dog.dam) == ("white", dam)
