"""A dog's page: released results, what is not released, and what was never tested."""

from __future__ import annotations

from django.test import Client

from registry.desk import consent, dogs
from registry.desk.actor import Actor
from registry.models import Certificate
from tests import factories
from tests.factories import Club


def _page(client: Client, public_id: str) -> str:
    return client.get(f"/dogs/{public_id}/").content.decode()


def test_a_released_result_is_current_with_its_values(client: Client, juno: Certificate) -> None:
    html = _page(client, juno.evaluation.dog.public_id)

    assert "<span>Current</span>" in html
    assert "Left 0.31, right 0.35" in html


def test_an_unreleased_result_is_registered_without_its_values(
    client: Client, juno: Certificate
) -> None:
    consent.change_consent(
        by=Actor.system(), evaluation_id=juno.evaluation.public_id, publish=False
    )

    html = _page(client, juno.evaluation.dog.public_id)

    assert "Examined, result not released" in html
    assert "0.35" not in html


def test_an_untested_dog_has_a_state_of_its_own(client: Client, club: Club) -> None:
    html = _page(client, factories.make_dog(club).public_id)

    assert "Not tested or not released" in html


def test_a_result_that_waits_is_not_shown(client: Client, club: Club) -> None:
    evaluation = factories.make_submitted(club)

    html = _page(client, evaluation.dog.public_id)

    assert "Not tested or not released" in html
    assert "0.35" not in html


def test_a_parent_shows_its_young(client: Client, juno: Certificate) -> None:
    dam = juno.evaluation.dog.dam
    assert dam is not None

    html = _page(client, dam.public_id)

    assert "1 of 2 have a result to show." in html
    assert f"/dogs/{juno.evaluation.dog.public_id}/" in html


def test_the_whole_chip_is_never_shown(client: Client, juno: Certificate) -> None:
    dog = juno.evaluation.dog
    assert dog.chip is not None

    assert dog.chip not in _page(client, dog.public_id)
    assert dog.chip not in client.get(f"/C/{juno.number}").content.decode()


def test_a_corrected_fact_is_told_with_its_day(client: Client, club: Club) -> None:
    dog = factories.make_dog(club, colour="brown")
    facts = dogs.DogFacts(
        breed=club.breed.slug, name=dog.name, sex="F", born_on=dog.born_on, chip=dog.chip or "",
        colour="liver",
    )  # fmt: skip
    dogs.correct_dog(
        by=club.registrar.actor, dog_id=dog.public_id, version=dog.version, facts=facts,
        reason="typing slip",
    )  # fmt: skip

    html = _page(client, dog.public_id)

    assert "<del>brown</del>" in html
    assert "<ins>liver</ins>" in html


def test_an_unknown_dog_is_not_found(client: Client, db: None) -> None:
    assert client.get("/dogs/nosuchdog/").status_code == 404
