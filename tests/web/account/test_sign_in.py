"""Signing in and out: where each person lands, and what is said when it fails."""

from __future__ import annotations

import pytest
from django.test import Client

from registry.desk import people
from registry.models import Role
from tests import factories, signing_in
from tests.factories import Club, Person

SIGN_IN = "/sign-in/"


@pytest.fixture
def club(db: None) -> Club:
    return factories.make_club()


def sign_in(client: Client, person: Person, password: str = factories.PASSWORD) -> object:
    return client.post(SIGN_IN, {"login": person.login, "password": password}, follow=True)


@pytest.mark.parametrize(
    ("role", "room"),
    [("nurse", "/clinic/"), ("registrar", "/registrar/"), ("secretary", "/secretary/")],
)
def test_each_person_lands_in_their_room(club: Club, client: Client, role: str, room: str) -> None:
    response = signing_in.sign_in(client, getattr(club, role))

    assert response.redirect_chain[-1][0] == room
    assert response.status_code == 200


def test_a_person_with_several_roles_chooses(club: Club, client: Client) -> None:
    user = club.nurse.user
    second = people.appoint(
        by=club.secretary.actor,
        user_id=user.pk,
        role=Role.CLINIC,
        clinic_id=club.other_clinic.public_id,
    )
    factories.make_submitted(club, factories.make_dog(club, name="First Clinics Juno"))

    page = sign_in(client, club.nurse)
    chosen = client.post("/rooms/", {"role": second.pk}, follow=True)

    assert club.other_clinic.name in page.content.decode()  # type: ignore[attr-defined]
    assert chosen.redirect_chain[-1][0] == "/clinic/"
    assert "First Clinics Juno" not in chosen.content.decode()


def test_a_role_of_somebody_else_cannot_be_chosen(club: Club, client: Client) -> None:
    client.force_login(club.nurse.user)

    response = client.post("/rooms/", {"role": club.registrar.membership.pk})

    assert response.headers["Location"] == "/clinic/"


def test_an_account_without_a_role_is_told_whom_to_ask(club: Club, client: Client) -> None:
    people.end_membership(by=club.secretary.actor, membership_id=club.nurse.membership.pk)

    page = sign_in(client, club.nurse)

    assert "Ask the secretary" in page.content.decode()  # type: ignore[attr-defined]
    assert client.get("/clinic/").status_code == 404


@pytest.mark.parametrize(("login", "password"), [("known", "wrong"), ("nobody", "wrong")])
def test_a_failed_sign_in_does_not_say_which_of_the_two_is_wrong(
    club: Club, client: Client, login: str, password: str
) -> None:
    name = club.nurse.login if login == "known" else login

    response = client.post(SIGN_IN, {"login": name, "password": password})

    page = response.content.decode()
    assert response.status_code == 422
    assert "Login and password do not fit together." in page
    assert "<title>Error: " in page
    assert f'value="{name}"' in page


def test_empty_boxes_are_named(club: Club, client: Client) -> None:
    page = client.post(SIGN_IN, {}).content.decode()

    assert page.count("Fill in “Login”.") == 2
    assert page.count("Fill in “Password”.") == 2


@pytest.mark.parametrize("next_page", ["https://elsewhere.example/", "//elsewhere.example/"])
def test_a_sign_in_never_leads_to_another_site(club: Club, client: Client, next_page: str) -> None:
    response = client.post(
        SIGN_IN,
        {"login": club.nurse.login, "password": factories.PASSWORD, "next": next_page},
    )

    assert response.headers["Location"] == "/rooms/"


def test_signing_out_is_a_post_and_ends_the_session(club: Club, client: Client) -> None:
    client.force_login(club.nurse.user)

    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/").headers["Location"] == "/"
    assert client.get("/clinic/").headers["Location"].startswith(SIGN_IN)


def test_a_closed_account_cannot_sign_in(club: Club, client: Client) -> None:
    people.close_account(by=club.secretary.actor, user_id=club.nurse.user.pk)

    response = client.post(SIGN_IN, {"login": club.nurse.login, "password": factories.PASSWORD})

    assert response.status_code == 422


def test_a_form_of_before_the_sign_in_in_another_tab_is_refused_in_plain_words(club: Club) -> None:
    browser = Client(enforce_csrf_checks=True)
    page = browser.get(SIGN_IN).content.decode()
    token = page.partition('name="csrfmiddlewaretoken" value="')[2].partition('"')[0]
    typed = {
        "login": club.nurse.login,
        "password": factories.PASSWORD,
        "csrfmiddlewaretoken": token,
    }
    browser.post(SIGN_IN, typed)

    refused = browser.post(SIGN_IN, typed)

    told = refused.content.decode()
    assert refused.status_code == 403
    assert "This page was out of date" in told
    assert "DEBUG" not in told
