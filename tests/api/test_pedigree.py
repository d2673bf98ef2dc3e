"""A dog's ancestors, and merging two entries of one dog."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.test import Client

from registry.models import Dog
from tests.factories import Club, Person, make_accepted, make_club, make_dog, make_token

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def headers(club: Club, person: Person) -> dict[str, str]:
    return {"Authorization": f"Bearer {make_token(person, by=club.secretary.actor)}"}


def merged(client: Client, club: Club, keep: Dog, body: object, person: Person) -> Any:
    return client.post(
        f"/api/v1/dogs/{keep.public_id}/merge",
        body,
        content_type="application/json",
        headers=headers(club, person),
    )


class TestPedigree:
    @pytest.mark.parametrize("is_released", [True, False])
    def test_each_ancestor_has_its_line_and_released_values(
        self, client: Client, club: Club, is_released: bool
    ) -> None:
        granddam = make_dog(club, born_on=date(2015, 1, 1))
        dam = make_dog(club, born_on=date(2018, 1, 1), dam=granddam.public_id)
        dog = make_dog(club, dam=dam.public_id)
        make_accepted(club, granddam, left="0.41", right="0.42", consent_to_publish=is_released)

        body = client.get(f"/api/v1/dogs/{dog.public_id}/pedigree").json()

        assert [(each["line"], each["id"]) for each in body["ancestors"]] == [
            (["dam"], dam.public_id),
            (["dam", "dam"], granddam.public_id),
        ]
        values = [{"trait": "hip-laxity", "value": "0.42"}] if is_released else []
        assert body["ancestors"][1]["values"] == values

    def test_an_unknown_dog_is_not_found(self, client: Client, club: Club) -> None:
        assert client.get("/api/v1/dogs/nobody/pedigree").status_code == 404


class TestMerge:
    def test_the_old_id_answers_the_kept_dog(self, client: Client, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        body = {"drop": drop.public_id, "reason": "entered twice", "confirmed": ["chips"]}

        answer = merged(client, club, keep, body, club.registrar)

        assert answer.status_code == 201
        token = headers(club, club.registrar)
        for path in (f"dogs/{drop.public_id}", f"dogs?chip={drop.chip}"):
            said = client.get(f"/api/v1/{path}", headers=token).json()
            dog = said["items"][0] if "items" in said else said
            assert dog["id"] == keep.public_id
        pedigree = client.get(f"/api/v1/dogs/{drop.public_id}/pedigree").json()
        assert pedigree["dog"] == keep.public_id

    @pytest.mark.parametrize(
        ("more", "pointer"),
        [({}, "/confirmed"), ({"confirmed": ["all"]}, "/confirmed"), ({"keep": "x"}, "/keep")],
    )
    def test_what_cannot_be_taken_is_named(
        self, client: Client, club: Club, more: dict[str, object], pointer: str
    ) -> None:
        keep, drop = make_dog(club), make_dog(club)
        body = {"drop": drop.public_id, "reason": "entered twice", **more}

        answer = merged(client, club, keep, body, club.registrar)

        assert answer.status_code == 422
        assert [each["pointer"] for each in answer.json()["errors"]] == [pointer]

    def test_only_a_registrar_merges(self, client: Client, club: Club) -> None:
        keep, drop = make_dog(club), make_dog(club)
        body = {"drop": drop.public_id, "reason": "entered twice", "confirmed": ["chips"]}

        for person in (club.nurse, club.secretary):
            assert merged(client, club, keep, body, person).status_code == 403
