"""The secretary answers who asks what is held, puts it right, and erases."""

from __future__ import annotations

import pytest
from django.test import Client
from django.utils import timezone

from registry.desk.announce import announce, withdraw_announcement
from registry.models import Evaluation, LedgerEntry, OutboxMail, Owner
from tests.factories import Club, make_accepted, make_club, make_dog

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    made = make_club()
    make_accepted(made)
    return made


@pytest.fixture
def secretary(club: Club, client: Client) -> Client:
    client.force_login(club.secretary.user)
    return client


def page(client: Client, path: str) -> str:
    answer = client.get(f"/secretary/{path}")
    assert answer.status_code == 200
    return answer.content.decode()


def test_an_owner_is_found_and_everything_held_is_shown(secretary: Client) -> None:
    found = Owner.objects.get()

    assert f"/secretary/owners/{found.public_id}/" in page(secretary, "owners/?q=reedmoor")
    shown = page(secretary, f"owners/{found.public_id}/")

    assert "Olga Reedmoor, olga@owner.example" in shown
    assert "Result of a dog" in shown
    assert "Mail" in shown


def test_words_in_an_announcement_are_shown(secretary: Client, club: Club) -> None:
    made = announce(
        by=club.nurse.actor, dog_id=make_dog(club).public_id, examined_on=timezone.localdate()
    )
    withdraw_announcement(
        by=club.nurse.actor, announcement_id=made.public_id, reason="Olga Reedmoor fell ill"
    )
    found = Owner.objects.get()

    assert "Olga Reedmoor fell ill" in page(secretary, f"owners/{found.public_id}/")


def test_nobody_found_is_said(secretary: Client) -> None:
    assert "Nobody is called “nobody”" in page(secretary, "owners/?q=nobody")


def test_the_data_is_put_right(secretary: Client) -> None:
    found = Owner.objects.get()

    answer = secretary.post(
        f"/secretary/owners/{found.public_id}/correct/",
        {"full_name": "Olga Reed", "email": "olga@owner.example", "reason": "she told us"},
    )

    assert answer.status_code == 302
    assert Owner.objects.get().full_name == "Olga Reed"


def test_a_wrong_address_is_said_at_its_field(secretary: Client) -> None:
    found = Owner.objects.get()

    answer = secretary.post(
        f"/secretary/owners/{found.public_id}/correct/",
        {"full_name": "Olga Reed", "email": "olga", "reason": "she told us"},
    )

    assert answer.status_code == 422
    assert answer.content.decode().count("Enter a mail address like name@example.org.") == 2


def test_before_erasing_it_says_what_goes_and_what_stays(secretary: Client) -> None:
    found = Owner.objects.get()
    asked = page(secretary, f"owners/{found.public_id}/erase/")

    assert "entries of results and roles stay, without a name" in asked
    answer = secretary.post(f"/secretary/owners/{found.public_id}/erase/", follow=True)

    assert "Erased, and the words taken out" in answer.content.decode()
    assert secretary.get(f"/secretary/owners/{found.public_id}/").status_code == 404


def test_a_person_with_an_account_is_shown_and_erased(club: Club, secretary: Client) -> None:
    nurse = club.other_nurse.user

    assert nurse.full_name in page(secretary, f"people/{nurse.pk}/held/")
    answer = secretary.post(f"/secretary/people/{nurse.pk}/erase/", follow=True)

    nurse.refresh_from_db()
    assert answer.status_code == 200
    assert nurse.full_name == ""


def test_the_secretary_cannot_erase_themselves(club: Club, secretary: Client) -> None:
    answer = secretary.post(f"/secretary/people/{club.secretary.user.pk}/erase/")

    assert answer.status_code == 409
    assert "Another secretary has to do it" in answer.content.decode()


class TestLinksAgain:
    def send(self, secretary: Client) -> str:
        address = f"/secretary/owners/{Owner.objects.get().public_id}/links/"
        return secretary.post(address, follow=True).content.decode()

    def test_an_owner_who_lost_the_link_gets_it_once_more(self, secretary: Client) -> None:
        before = OutboxMail.objects.filter(kind="owner-result").count()

        told = self.send(secretary)

        mails = OutboxMail.objects.filter(kind="owner-result", to_email="olga@owner.example")
        assert mails.count() == before + 1
        assert "A mail with the private link is on its way." in told
        assert LedgerEntry.objects.order_by("seq").last().action == "owner.links_sent"  # type: ignore[union-attr]

    def test_the_button_stands_on_the_owners_page(self, secretary: Client) -> None:
        found = Owner.objects.get()

        shown = page(secretary, f"owners/{found.public_id}/")

        assert f'action="/secretary/owners/{found.public_id}/links/"' in shown

    def test_without_an_address_it_says_what_to_do_first(self, secretary: Client) -> None:
        Owner.objects.update(email="")

        told = self.send(secretary)

        assert "No mail address is on record." in told
        assert OutboxMail.objects.filter(kind="owner-result").count() == 1

    def test_without_an_accepted_result_there_is_no_link(self, secretary: Client) -> None:
        Evaluation.objects.update(owner=None)

        assert "there is no link" in self.send(secretary)
