"""A dog's page: released results, what is not released, and what was never tested."""

from __future__ import annotations

from django.test import Client

from registry.desk import consent, dogs, revoke
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

    assert "With a result to show: 1 of 2." in html
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


class TestACorrectedResult:
    """Of the same exam: neither a newer exam nor a newer result has overtaken it."""

    def corrected(self, club: Club, juno: Certificate) -> Certificate:
        dog = juno.evaluation.dog
        return revoke.replace(
            by=club.registrar.actor,
            evaluation_id=juno.evaluation.public_id,
            changes={"readings": factories.make_body(dog, left="0.41")["readings"]},
            reason="left was read wrongly",
        )

    def test_the_dogs_page_says_corrected_and_not_newer(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        self.corrected(club, juno)

        html = client.get(f"/dogs/{juno.evaluation.dog.public_id}/").content.decode()

        assert "Replaced by a corrected result" in html
        assert "(corrected since)" in html
        assert "newer" not in html

    def test_its_certificate_says_corrected_and_leads_to_the_corrected_one(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        right = self.corrected(club, juno)

        html = client.get(f"/C/{juno.number}").content.decode()

        assert "Genuine, replaced by a corrected result" in html
        assert "This was corrected. The corrected result counts now." in html
        assert f'href="/C/{right.number}"' in html
        assert "newer" not in html

    def test_of_a_newer_exam_nothing_is_called_corrected(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        factories.make_accepted(club, juno.evaluation.dog, examined_on="2026-10-09")

        for path in (f"/C/{juno.number}", f"/dogs/{juno.evaluation.dog.public_id}/"):
            html = client.get(path).content.decode()
            assert "newer" in html
            assert "orrected" not in html
