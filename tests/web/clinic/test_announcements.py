"""A nurse announces an examination in two steps, begins its result, and withdraws it."""

from __future__ import annotations

from datetime import timedelta

from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.desk.announce import announce
from registry.models import Announcement, Dog, Draft
from registry.wording import dates
from tests.factories import Club
from tests.web.clinic import desk

HOME = reverse("clinic:home")
NEW = reverse("clinic:announce")


def announced(club: Club, dog: Dog, days: int = 0) -> Announcement:
    day = timezone.localdate() + timedelta(days=days)
    return announce(by=club.nurse.actor, dog_id=dog.public_id, examined_on=day)


def test_from_the_look_up_to_the_list(nurse: Client, juno: Dog) -> None:
    found = nurse.get(reverse("clinic:identify"), {"chip": juno.chip or ""}).content.decode()
    day = timezone.localdate() + timedelta(days=4)

    assert f'href="{NEW}?dog={juno.public_id}"' in found
    answer = nurse.post(NEW, {"dog": juno.public_id, "examined_on": dates.day(day)})

    assert answer["Location"] == HOME
    home = nurse.get(HOME).content.decode()
    assert "Announced, no result yet" in home
    assert f"for {dates.day(day)}, announced" in home


def test_a_day_too_far_off_stands_at_its_box(nurse: Client, juno: Dog) -> None:
    answer = nurse.post(NEW, {"dog": juno.public_id, "examined_on": "1 January 2020"})

    assert answer.status_code == 422
    assert "Choose a day between" in answer.content.decode()
    assert 'value="1 January 2020"' in answer.content.decode()


def test_twice_is_said(nurse: Client, club: Club, juno: Dog) -> None:
    announced(club, juno)

    answer = nurse.post(
        NEW, {"dog": juno.public_id, "examined_on": dates.day(timezone.localdate())}
    )

    assert answer.status_code == 409
    assert Announcement.objects.count() == 1


def test_without_a_dog_it_asks_for_one(nurse: Client) -> None:
    assert nurse.get(NEW)["Location"] == reverse("clinic:identify")


def test_the_result_begins_with_dog_and_day(nurse: Client, club: Club, juno: Dog) -> None:
    made = announced(club, juno)

    answer = nurse.post(reverse("clinic:begin", args=[made.public_id]))

    draft = Draft.objects.get()
    assert answer["Location"] == desk.at("examination", draft)
    assert draft.dog == juno
    page = nurse.get(answer["Location"]).content.decode()
    assert f'value="{dates.day(timezone.localdate())}"' in page


def test_a_day_to_come_is_left_open(nurse: Client, club: Club, juno: Dog) -> None:
    made = announced(club, juno, days=7)

    nurse.post(reverse("clinic:begin", args=[made.public_id]))

    assert "examined_on" not in Draft.objects.get().answers


def test_withdrawing_wants_a_reason(nurse: Client, club: Club, juno: Dog) -> None:
    made = announced(club, juno)
    path = reverse("clinic:call-off", args=[made.public_id])

    assert nurse.post(path, {"reason": " "}).status_code == 422
    assert nurse.post(path, {"reason": "Cancelled by phone."})["Location"] == HOME

    made.refresh_from_db()
    assert made.reason == "Cancelled by phone."
    assert "Announced, no result yet" not in nurse.get(HOME).content.decode()


def test_another_clinics_is_not_there(club: Club, juno: Dog) -> None:
    made = announced(club, juno)
    other = desk.signed_in(club.other_nurse)

    for name in ("begin", "call-off"):
        path = reverse(f"clinic:{name}", args=[made.public_id])
        assert other.get(path).status_code == 404
        assert other.post(path, {"reason": "not ours"}).status_code == 404


def test_the_secretary_sets_the_rule_of_a_breed(club: Club) -> None:
    secretary = desk.signed_in(club.secretary)
    path = reverse("secretary:announcement", args=[club.breed.slug])
    day = timezone.localdate() + timedelta(days=10)

    assert secretary.post(path, {"first_day": "1 May 2020", "reason": "voted"}).status_code == 422
    secretary.post(path, {"first_day": dates.day(day), "reason": "voted"})

    listed = secretary.get(reverse("secretary:breeds")).content.decode()
    assert f"examinations have to be announced from {dates.day(day)}" in listed
