"""What everybody can read of announced examinations, and of every later change."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from registry.desk import catalogue, decide, revoke
from registry.desk import dogs as dog_desk
from registry.desk.announce import announce, withdraw_announcement
from registry.desk.consent import change_consent
from registry.desk.dog_facts import DogFacts
from registry.models import Announcement, Certificate, Dog
from registry.wording import dates
from tests import factories
from tests.factories import Club
from tests.web.buyer.reading import ari, coleman_liau, sentences, words

TODAY = timezone.localdate


def text(client: Client, path: str) -> str:
    response = client.get(path)
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def announced(club: Club, dog: Dog, days: int = 0) -> Announcement:
    day = TODAY() + timedelta(days=days)
    return announce(by=club.nurse.actor, dog_id=dog.public_id, examined_on=day)


def opened_days_ago(made: Announcement, days: int) -> None:
    """Let time pass: the desk has no way to set the instant."""
    at = timezone.now() - timedelta(days=days)
    Announcement.objects.filter(pk=made.pk).update(announced_at=at)


class TestDogPage:
    def test_an_open_one_says_since_when_and_where(self, client: Client, club: Club) -> None:
        dog = factories.make_dog(club)
        announced(club, dog, days=6)

        page = text(client, f"/dogs/{dog.public_id}/")

        assert f"Examination announced, open since {dates.day(TODAY())}" in page
        assert f"Clinic: {club.clinic.name}." in page
        assert "says nothing good or bad about the dog" in page

    def test_a_withdrawn_one_says_why(self, client: Client, club: Club) -> None:
        dog = factories.make_dog(club)
        made = announced(club, dog)
        withdraw_announcement(
            by=club.nurse.actor, announcement_id=made.public_id, reason="The dog was <ill>."
        )

        page = text(client, f"/dogs/{dog.public_id}/")

        assert f"Announcement withdrawn on {dates.day(TODAY())}" in page
        assert "Reason: The dog was &lt;ill&gt;." in page
        assert "open since" not in page

    def test_a_declined_result_stays_told_without_its_values(
        self, client: Client, club: Club
    ) -> None:
        dog = factories.make_dog(club)
        announced(club, dog)
        evaluation = factories.make_submitted(club, dog, examined_on=TODAY().isoformat())
        decide.decline(
            by=club.registrar.actor, evaluation_id=evaluation.public_id, reason="Olga's dog moved"
        )

        page = text(client, f"/dogs/{dog.public_id}/")

        assert f"Result sent in on {dates.day(TODAY())}, not accepted by the club" in page
        assert "0.31" not in page
        assert "Olga" not in page


class TestOpenPage:
    def test_only_what_is_open_longer_than_thirty_days(self, client: Client, club: Club) -> None:
        late, fresh, gone = (factories.make_dog(club) for _each in range(3))
        opened_days_ago(announced(club, late), 31)
        opened_days_ago(announced(club, fresh), 29)
        withdrawn = announced(club, gone)
        opened_days_ago(withdrawn, 40)
        withdraw_announcement(
            by=club.nurse.actor, announcement_id=withdrawn.public_id, reason="cancelled"
        )

        page = text(client, f"/breeds/{club.breed.slug}/open/")

        assert late.name in page
        assert fresh.name not in page
        assert gone.name not in page

    def test_an_unknown_breed_is_not_found(self, client: Client, club: Club) -> None:
        for name in ("open/", "complete/", "complete.csv"):
            assert client.get(f"/breeds/nothing/{name}").status_code == 404


class TestCompleteness:
    def test_the_csv_counts_each_clinic_and_birth_year(self, client: Client, club: Club) -> None:
        for born_on in (date(2021, 1, 5), date(2023, 2, 5), date(2023, 3, 5)):
            announced(club, factories.make_dog(club, born_on=born_on))
        accepted = factories.make_dog(club, born_on=date(2023, 4, 5))
        announced(club, accepted)
        factories.make_accepted(club, accepted, examined_on=TODAY().isoformat())

        answer = client.get(f"/breeds/{club.breed.slug}/complete.csv")

        rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
        assert [
            (row["clinic"], row["birth_year"], row["announced"], row["accepted"], row["open"])
            for row in rows
        ] == [(club.clinic.name, "2021", "1", "0", "1"), (club.clinic.name, "2023", "3", "1", "2")]

    def test_the_page_sums_them_up(self, client: Client, club: Club) -> None:
        for _each in range(2):
            announced(club, factories.make_dog(club))

        page = text(client, f"/breeds/{club.breed.slug}/complete/")

        assert "2 exams were announced." in page
        assert '<th scope="row">All</th><td class="n">2</td>' in page

    def test_it_says_since_when_the_club_asks_for_it(self, client: Client, club: Club) -> None:
        catalogue.require_announcement(
            by=club.secretary.actor, breed_slug=club.breed.slug, first_day=TODAY(), reason="voted"
        )

        page = text(client, f"/breeds/{club.breed.slug}/complete/")

        assert f"Since {dates.day(TODAY())} each exam of this breed has to be announced." in page


class TestCertificatePage:
    def test_server_time_stands_beside_the_claimed_day(
        self, client: Client, juno: Certificate
    ) -> None:
        page = text(client, f"/C/{juno.number}")

        assert f"Examined on 2 October 2026, sent in on {dates.day(TODAY())}" in page
        assert "Not announced" in page

    def test_an_announced_one_says_when(self, client: Client, club: Club) -> None:
        dog = factories.make_dog(club)
        announced(club, dog)
        certificate = factories.make_accepted(club, dog, examined_on=TODAY().isoformat())

        page = text(client, f"/C/{certificate.number}")

        assert "Not announced" not in page
        assert "Examination announced by the clinic" in page

    def test_one_announced_after_the_day_says_so(self, client: Client, club: Club) -> None:
        dog = factories.make_dog(club)
        announced(club, dog, days=-2)
        day = (TODAY() - timedelta(days=2)).isoformat()
        certificate = factories.make_accepted(club, dog, examined_on=day)

        assert f"{dates.day(TODAY())}, after the exam" in text(client, f"/C/{certificate.number}")

    def test_a_corrected_fact_of_the_dog_says_what_and_why(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        dog = juno.evaluation.dog
        dog_desk.correct_dog(
            by=club.registrar.actor,
            dog_id=dog.public_id,
            version=dog.version,
            facts=replace(_facts_of(dog), colour="liver"),
            reason="Seen at the show.",
        )

        for path in (f"/C/{juno.number}", f"/dogs/{dog.public_id}/"):
            page = text(client, path)
            assert "Colour: <del>brown</del> → <ins>liver</ins>" in page
            assert "Reason: Seen at the show." in page

    def test_a_withdrawn_consent_says_when(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        change_consent(by=club.nurse.actor, evaluation_id=juno.evaluation.public_id, publish=False)

        assert "No longer shown, as the owner wished" in text(client, f"/C/{juno.number}")
        dog_page = text(client, f"/dogs/{juno.evaluation.dog.public_id}/")
        assert "Result no longer shown, as the owner wished" in dog_page

    def test_a_withdrawn_consent_to_a_corrected_result_says_when(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        dog = juno.evaluation.dog
        revoke.replace(
            by=club.registrar.actor,
            evaluation_id=juno.evaluation.public_id,
            changes={"readings": factories.make_body(dog, left="0.41")["readings"]},
            reason="left was read wrongly",
        )
        corrected = Certificate.objects.exclude(pk=juno.pk).get().evaluation

        change_consent(by=club.nurse.actor, evaluation_id=corrected.public_id, publish=False)

        dog_page = text(client, f"/dogs/{dog.public_id}/")
        assert "Result no longer shown, as the owner wished" in dog_page


@pytest.mark.parametrize("name", ["open", "complete", "dog"])
def test_the_pages_read_easily(client: Client, club: Club, name: str) -> None:
    dog = factories.make_dog(club)
    opened_days_ago(announced(club, dog), 40)
    path = f"/dogs/{dog.public_id}/" if name == "dog" else f"/breeds/{club.breed.slug}/{name}/"

    found = sentences(client.get(path).content.decode())

    assert max(len(words(sentence)) for sentence in found) <= 20
    assert ari(found) <= 6
    assert coleman_liau(found) <= 6


def _facts_of(dog: Dog) -> DogFacts:
    return DogFacts(
        breed=dog.breed.slug,
        name=dog.name,
        sex=dog.sex,
        born_on=dog.born_on,
        call_name=dog.call_name,
        colour=dog.colour,
        chip=dog.chip or "",
        studbook_number=dog.studbook_number,
        sire=dog.sire.public_id if dog.sire else "",
        dam=dog.dam.public_id if dog.dam else "",
        died_on=dog.died_on,
    )
