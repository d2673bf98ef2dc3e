"""The secretary's pages: people and roles, tokens, clinics, breeds, traits, and the mail."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import pytest
from django.test import Client
from django.urls import reverse

from registry.models import (
    ApiToken,
    Breed,
    Clinic,
    LedgerEntry,
    Membership,
    OutboxMail,
    Role,
    Trait,
    User,
)
from registry.queries.tokens import live_token
from tests.factories import PASSWORD, Club, Person, make_accepted, make_club, make_token
from tests.signing_in import code_now, sign_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def page(club: Club) -> Client:
    return signed_in(club.secretary)


def signed_in(person: Person) -> Client:
    client = Client()
    sign_in(client, person)
    return client


def at(name: str, *args: object) -> str:
    return reverse(f"secretary:{name}", args=args)


@pytest.mark.parametrize(
    "name", ["home", "people", "clinics", "breeds", "traits", "tokens", "mail"]
)
def test_every_section_opens_for_the_secretary_alone(club: Club, page: Client, name: str) -> None:
    make_accepted(club)
    make_token(club.nurse, by=club.secretary.actor)

    assert page.get(at(name)).status_code == 200
    assert signed_in(club.registrar).get(at(name)).status_code == 404
    assert Client().get(at(name)).status_code == 302


class TestPeople:
    def test_a_person_is_invited_into_a_role(self, club: Club, page: Client) -> None:
        page.post(
            at("new-person"),
            {
                "full_name": "Rowan Ashgill",
                "login": "rowan",
                "email": "rowan@club.example",
                "role": "clinic",
                "clinic": club.clinic.public_id,
            },
        )

        user = User.objects.get(username="rowan")
        held = user.memberships.get()
        assert (held.role, held.clinic) == (Role.CLINIC, club.clinic)
        assert "Ashgill" not in "".join(LedgerEntry.objects.values_list("body", flat=True))
        assert OutboxMail.objects.get(to_email="rowan@club.example").kind == "invitation"
        shown = page.get(at("person", user.pk)).content.decode()
        assert "has not chosen a password yet" in shown
        assert "Send the invitation again" in shown

    def test_an_invitation_without_a_role_keeps_what_was_typed(
        self, club: Club, page: Client
    ) -> None:
        response = page.post(
            at("new-person"),
            {"full_name": "R", "login": "rowan", "email": "r@club.example"},
        )

        assert response.status_code == 422
        assert 'value="rowan"' in response.content.decode()
        assert not User.objects.filter(username="rowan").exists()

    def test_roles_and_tokens_ask_who_one_is_and_go_on(self, club: Club) -> None:
        client = Client()
        client.force_login(club.secretary.user)
        there = at("appoint", club.nurse.user.pk)

        asked = client.post(there, {"role": "registrar"})
        done = client.post(asked.headers["Location"], {"password": PASSWORD})

        assert asked.headers["Location"] == f"/sign-in/again/?next={quote(there, safe='')}"
        assert done.status_code == 302
        assert club.nurse.user.memberships.filter(role=Role.REGISTRAR).exists()

    def test_a_link_for_a_new_password_goes_to_the_person_alone(
        self, club: Club, page: Client
    ) -> None:
        answer = page.post(at("link", club.nurse.user.pk), follow=True)

        assert "on its way" in answer.content.decode()
        assert "/welcome/" not in answer.content.decode()
        assert OutboxMail.objects.get(to_email=club.nurse.user.email).kind == "password-link"

    def test_a_person_is_signed_out_everywhere(self, club: Club, page: Client) -> None:
        theirs = signed_in(club.nurse)

        page.post(at("sessions", club.nurse.user.pk))

        assert theirs.get("/clinic/").status_code == 302

    def test_second_steps_are_removed_with_a_reason(self, club: Club, page: Client) -> None:
        there = at("second-steps", club.registrar.user.pk)

        silent = page.post(there)
        said = page.post(there, {"reason": "we spoke face to face"}, follow=True)

        assert silent.status_code == 422
        assert "set up a new one" in said.content.decode()
        assert "no second step" in said.content.decode()

    def test_a_clinic_role_without_a_clinic_is_refused(self, club: Club, page: Client) -> None:
        response = page.post(at("appoint", club.registrar.user.pk), {"role": "clinic"})

        assert "Choose the clinic" in response.content.decode()

    def test_the_last_secretary_cannot_be_ended(self, club: Club, page: Client) -> None:
        response = page.post(at("end-role", club.secretary.membership.pk))

        assert response.status_code == 409
        assert Membership.objects.get(pk=club.secretary.membership.pk).ended_at is None

    def test_closing_an_account_ends_roles_tokens_and_sessions(
        self, club: Club, page: Client
    ) -> None:
        secret = make_token(club.nurse, by=club.secretary.actor)
        theirs = signed_in(club.nurse)

        page.post(at("close", club.nurse.user.pk))

        assert live_token(secret) is None
        assert theirs.get("/rooms/").status_code == 302


class TestTokens:
    def test_the_secret_is_shown_once_and_kept_nowhere(self, club: Club, page: Client) -> None:
        response = page.post(
            at("new-token", club.nurse.membership.pk),
            {"name": "front desk", "scopes": ["evaluations:write"], "days": "30"},
        )
        token = ApiToken.objects.get()
        secret = response.context["issued"].secret

        assert secret in response.content.decode()
        assert secret not in page.get(at("tokens")).content.decode()
        found = live_token(secret)
        assert found == token

    def test_a_scope_of_another_role_is_refused(self, club: Club, page: Client) -> None:
        response = page.post(
            at("new-token", club.nurse.membership.pk),
            {"name": "front desk", "scopes": ["decisions:write"], "days": "30"},
        )

        assert response.status_code == 422
        assert not ApiToken.objects.exists()

    def test_an_ended_token_is_refused(self, club: Club, page: Client) -> None:
        secret = make_token(club.nurse, by=club.secretary.actor)

        page.post(at("revoke-token", ApiToken.objects.get().pk))

        assert live_token(secret) is None


class TestClubFacts:
    def test_a_clinic_that_may_not_submit_keeps_its_entry(self, club: Club, page: Client) -> None:
        page.post(
            at("clinic", club.clinic.public_id),
            {"name": club.clinic.name, "town": "Moorby", "email": ""},
        )

        clinic = Clinic.objects.get(pk=club.clinic.pk)
        assert (clinic.town, clinic.is_active) == ("Moorby", False)

    def test_a_breed_is_added_and_its_window_changed(self, club: Club, page: Client) -> None:
        page.post(at("new-breed"), {"name": "Fell Pointer", "window_months": "96"})
        page.post(at("window", "fell-pointer"), {"window_months": "60", "reason": "fewer dogs"})

        assert Breed.objects.get(slug="fell-pointer").window_months == 60

    def test_a_trait_is_added_without_code(self, club: Club, page: Client) -> None:
        page.post(
            at("new-trait"),
            {
                "name": "Patella grade",
                "joint": "knee",
                "better_word": "firmer",
                "worse_word": "looser",
                "lowest": "0",
                "highest": "3",
                "minimum_age_days": "365",
                "position": "9",
                "kind": "graded",
                "unit": "",
                "resolution": "1",
                "grades": "0, 1, 2, 3",
                "better": "lower",
                "is_per_side": "on",
            },
        )

        assert Trait.objects.get(slug="patella-grade").grades == ["0", "1", "2", "3"]

    def test_the_words_of_a_trait_in_use_can_change(self, club: Club, page: Client) -> None:
        make_accepted(club)
        form = page.get(at("trait", "hip-laxity")).context["form"]
        data = _as_sent(form)

        response = page.post(at("trait", "hip-laxity"), {**data, "better_word": "firmer"})

        assert response.status_code == 302
        assert Trait.objects.get(slug="hip-laxity").better_word == "firmer"

    def test_the_published_shares_are_shown_and_saved_as_they_are(
        self, club: Club, page: Client
    ) -> None:
        form = page.get(at("trait", "elbow-grade")).context["form"]
        data = _as_sent(form)

        page.post(at("trait", "elbow-grade"), {**data, "heritability_prior": "0,4"})

        trait = Trait.objects.get(slug="elbow-grade")
        assert data["heritability_prior"] == "0.25"
        assert (str(trait.heritability_prior), str(trait.litter_share_prior)) == ("0.400", "0.050")

    def test_a_published_deviation_is_kept_with_its_source(self, club: Club, page: Client) -> None:
        form = page.get(at("trait", "norberg-angle")).context["form"]
        data = _as_sent(form)
        given = {**data, "within_dog_sd": "1,9"}

        refused = page.post(at("trait", "norberg-angle"), given)
        page.post(at("trait", "norberg-angle"), {**given, "within_dog_source": "Fell (2020)"})

        trait = Trait.objects.get(slug="norberg-angle")
        assert "Say where the standard deviation was published." in refused.content.decode()
        assert (str(trait.within_dog_sd), trait.within_dog_source) == ("1.90000", "Fell (2020)")

    def test_shares_that_leave_nothing_for_the_rest_are_refused(
        self, club: Club, page: Client
    ) -> None:
        form = page.get(at("trait", "elbow-grade")).context["form"]
        data = _as_sent(form)

        response = page.post(at("trait", "elbow-grade"), {**data, "heritability_prior": "0.95"})

        assert "together they stay below it" in response.content.decode()
        assert str(Trait.objects.get(slug="elbow-grade").heritability_prior) == "0.250"


class TestSignIn:
    def test_each_person_lands_in_the_room_of_their_role(self, club: Club) -> None:
        for person, room in (
            (club.nurse, "/clinic/"),
            (club.registrar, "/registrar/"),
            (club.secretary, "/secretary/"),
        ):
            answer = sign_in(Client(), person)
            assert answer.redirect_chain[-1][0] == room

    def test_a_wrong_password_says_how_to_go_on_and_not_which_was_wrong(self, club: Club) -> None:
        known = Client().post("/sign-in/", {"login": club.nurse.login, "password": "x"})
        unknown = Client().post("/sign-in/", {"login": "nobody", "password": "x"})

        for answer in (known, unknown):
            assert answer.status_code == 422
            assert "do not fit together" in answer.content.decode()

    def test_signing_in_leads_back_to_the_page_that_asked(self, club: Club) -> None:
        client = Client()
        asked = client.get("/registrar/?flag=any", follow=True)

        client.post(
            asked.redirect_chain[-1][0],
            {
                "login": club.registrar.login,
                "password": PASSWORD,
                "next": "/registrar/?flag=any",
            },
        )
        answer = client.post("/sign-in/code/", {"code": code_now()})

        assert answer["Location"] == "/registrar/?flag=any"

    def test_a_person_with_two_roles_chooses(self, club: Club, page: Client) -> None:
        page.post(at("appoint", club.secretary.user.pk), {"role": "registrar"})

        shown = page.get("/rooms/").content.decode()

        assert "registrar" in shown
        assert "secretary" in shown


def _as_sent(form: Any) -> dict[str, Any]:
    """What a browser sends of a form nobody changed: an empty field as empty text."""
    values = {field.html_name: field.value() for field in form}
    return {name: "" if value is None else value for name, value in values.items()}
