"""Ways in: invitations, links, second steps, sessions, and that each change is written down."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.contrib.auth import authenticate
from django.contrib.sessions.models import Session
from django.core import mail as sent
from django.test import Client
from django.utils import timezone

from registry.desk import people, sign_in
from registry.desk.actor import Actor
from registry.desk.errors import Invalid, NotFound, Refused
from registry.desk.mail import deliver_waiting
from registry.models import LedgerEntry, LedgerText, OutboxMail, Role, User
from tests import signing_in
from tests.factories import PASSWORD, Club, Person, make_club

pytestmark = pytest.mark.django_db

NEW = "a loud hill of 40 terriers"
LINK = re.compile(r"/welcome/(?P<subject>\w+)/(?P<token>[\w-]+)/")


@pytest.fixture
def club() -> Club:
    return make_club()


def invited(club: Club, **facts: str) -> User:
    return people.invite(
        by=club.secretary.actor,
        login=facts.get("login", "rowan"),
        full_name="Rowan Ashgill",
        email="rowan@club.example",
        role=Role.CLINIC,
        clinic_id=facts.get("clinic_id", club.clinic.public_id),
    )


def link_in_mail(to: str) -> dict[str, str]:
    deliver_waiting()
    letter = [each for each in sent.outbox if each.to == [to]][-1]
    found = LINK.search(str(letter.body))
    assert found is not None
    return {"subject_id": found["subject"], "token": found["token"]}


def signed_in(person: Person) -> Client:
    client = Client()
    signing_in.sign_in(client, person)
    return client


def is_in(client: Client) -> bool:
    return client.get("/account/").status_code == 200


class TestInvite:
    def test_the_person_chooses_the_password_by_the_link_in_the_mail(self, club: Club) -> None:
        user = invited(club)

        sign_in.take_link(**link_in_mail(user.email), password=NEW)

        assert authenticate(username="rowan", password=NEW) == user
        assert user.memberships.get().clinic == club.clinic

    def test_until_then_nobody_signs_in(self, club: Club) -> None:
        user = invited(club)

        assert not user.has_usable_password()
        assert authenticate(username="rowan", password="") is None

    def test_no_link_lies_in_the_database(self, club: Club) -> None:
        user = invited(club)
        link = link_in_mail(user.email)

        rows = str(list(OutboxMail.objects.values())) + str(list(LedgerEntry.objects.values()))
        rows += str(list(LedgerText.objects.values()))

        assert link["token"] not in rows

    def test_without_a_clinic_nothing_is_left_behind(self, club: Club) -> None:
        with pytest.raises(Invalid, match="Choose the clinic"):
            invited(club, clinic_id="")

        assert not User.objects.filter(username="rowan").exists()
        assert not OutboxMail.objects.filter(kind="invitation").exists()

    def test_only_the_secretary_invites(self, club: Club) -> None:
        with pytest.raises(Refused):
            people.invite(
                by=club.registrar.actor,
                login="rowan",
                full_name="Rowan",
                email="r@club.example",
                role=Role.REGISTRAR,
            )


class TestLinks:
    def test_a_link_works_once(self, club: Club) -> None:
        user = invited(club)
        link = link_in_mail(user.email)
        sign_in.take_link(**link, password=NEW)

        with pytest.raises(NotFound):
            sign_in.take_link(**link, password=PASSWORD)

        assert authenticate(username="rowan", password=NEW) == user

    def test_a_weak_password_leaves_the_link_good(self, club: Club) -> None:
        user = invited(club)
        link = link_in_mail(user.email)

        with pytest.raises(Invalid, match="too short"):
            sign_in.take_link(**link, password="short")

        assert sign_in.user_of_link(**link) == user

    def test_it_ends_after_two_days(self, club: Club, monkeypatch: pytest.MonkeyPatch) -> None:
        user = invited(club)
        link = link_in_mail(user.email)
        generator = "django.contrib.auth.tokens.PasswordResetTokenGenerator._now"
        later = datetime.now() + timedelta(hours=50)  # noqa: DTZ005
        monkeypatch.setattr(generator, lambda _self: later)

        assert sign_in.user_of_link(**link) is None

    def test_anothers_link_opens_nothing(self, club: Club) -> None:
        user = invited(club)
        token = link_in_mail(user.email)["token"]

        assert sign_in.user_of_link(club.nurse.user.subject_id, token) is None

    @pytest.mark.parametrize("how", ["login", "email", "LOGIN"])
    def test_who_forgot_gets_one_by_login_or_address(self, club: Club, how: str) -> None:
        user = club.nurse.user
        asked = {"login": user.username, "email": user.email, "LOGIN": user.username.upper()}[how]

        sign_in.ask_for_link(asked=asked)

        assert link_in_mail(user.email)["subject_id"] == user.subject_id

    def test_on_a_real_site_the_worker_sends_it_so_that_the_answers_time_tells_nothing(
        self, club: Club, settings: Any, django_capture_on_commit_callbacks: Any
    ) -> None:
        settings.IS_PRODUCTION = True

        with django_capture_on_commit_callbacks() as waiting:
            sign_in.ask_for_link(asked=club.nurse.login)

        assert waiting == []
        assert OutboxMail.objects.filter(kind="password-link", sent_at__isnull=True).exists()

    @pytest.mark.parametrize("asked", ["nobody", "", "  ", "a\x00b", "x" * 300])
    def test_who_is_not_known_gets_none(self, club: Club, asked: str) -> None:
        sign_in.ask_for_link(asked=asked)

        assert not OutboxMail.objects.filter(kind="password-link").exists()

    def test_a_closed_account_gets_none(self, club: Club) -> None:
        people.close_account(by=club.secretary.actor, user_id=club.nurse.user.pk)

        sign_in.ask_for_link(asked=club.nurse.login)

        assert not OutboxMail.objects.filter(kind="password-link").exists()

    def test_a_taken_link_ends_all_sessions_and_leaves_the_second_step(self, club: Club) -> None:
        theirs = signed_in(club.registrar)
        sign_in.ask_for_link(asked=club.registrar.login)

        sign_in.take_link(**link_in_mail(club.registrar.user.email), password=NEW)

        assert not is_in(theirs)
        assert Authenticator.objects.filter(user=club.registrar.user).exists()

    def test_the_link_itself_is_for_the_machine_alone(self, club: Club) -> None:
        with pytest.raises(Refused):
            sign_in.link_for(by=club.secretary.actor, user_id=club.nurse.user.pk)

        assert "/welcome/" in sign_in.link_for(by=Actor.system(), user_id=club.nurse.user.pk)


class TestPassword:
    def test_the_entry_holds_no_trace_of_it(self, club: Club) -> None:
        user = sign_in.change_password(by=sign_in.person(club.nurse.user), password=NEW)

        entry = LedgerEntry.objects.latest("seq")
        assert entry.action == "user.password"
        assert NEW not in entry.body
        assert user.password not in entry.body
        assert not LedgerText.objects.filter(entry=entry).exists()

    def test_the_person_hears_of_it(self, club: Club) -> None:
        sign_in.change_password(by=sign_in.person(club.nurse.user), password=NEW)

        deliver_waiting()
        letter = sent.outbox[-1]
        assert letter.to == [club.nurse.user.email]
        assert "Your password was changed." in letter.body
        assert "Was it not you?" in letter.body

    def test_a_weak_one_changes_nothing(self, club: Club) -> None:
        with pytest.raises(Invalid, match="too short"):
            sign_in.change_password(by=sign_in.person(club.nurse.user), password="short")

        assert authenticate(username=club.nurse.login, password=PASSWORD)


class TestSecondSteps:
    def test_they_are_removed_by_a_secretary_with_a_reason(self, club: Club) -> None:
        theirs = signed_in(club.registrar)

        sign_in.remove_second_steps(
            by=club.secretary.actor, user_id=club.registrar.user.pk, reason="met at the show"
        )

        assert not Authenticator.objects.filter(user=club.registrar.user).exists()
        assert not is_in(theirs)
        entry = LedgerEntry.objects.latest("seq")
        assert entry.action == "user.steps_removed"
        deliver_waiting()
        assert "removed all second steps" in sent.outbox[-1].body

    def test_not_without_one(self, club: Club) -> None:
        with pytest.raises(Invalid, match="how you made sure"):
            sign_in.remove_second_steps(
                by=club.secretary.actor, user_id=club.registrar.user.pk, reason="  "
            )

    @pytest.mark.parametrize("who", ["registrar", "nurse", "secretary"])
    def test_not_by_another_role_nor_for_oneself(self, club: Club, who: str) -> None:
        person = getattr(club, who)
        target = club.secretary if who == "secretary" else club.second_registrar

        with pytest.raises(Refused):
            sign_in.remove_second_steps(
                by=person.actor, user_id=target.user.pk, reason="they asked"
            )

        assert Authenticator.objects.filter(user=target.user).exists()

    def test_a_new_one_ends_the_sessions_that_began_without(self, club: Club) -> None:
        theirs = signed_in(club.nurse)

        sign_in.note(by=sign_in.person(club.nurse.user), what="app-added")

        assert not is_in(theirs)

    def test_no_secret_lies_open_in_the_database(self, club: Club) -> None:
        given = sign_in.give_second_step(user_id=club.registrar.user.pk)

        kept = str(list(Authenticator.objects.values("data")))

        assert given.key not in kept
        assert len(given.codes) == 10
        assert not any(code in kept for code in given.codes)


class TestLeaving:
    def test_sessions_tokens_and_steps_end_at_once(self, club: Club) -> None:
        theirs = [signed_in(club.registrar) for _twice in range(2)]
        assert all(is_in(client) for client in theirs)

        people.close_account(by=club.secretary.actor, user_id=club.registrar.user.pk)

        assert not any(is_in(client) for client in theirs)
        assert not UserSession.objects.filter(user=club.registrar.user).exists()
        assert not Session.objects.filter(session_key=theirs[0].session.session_key).exists()
        assert not Authenticator.objects.filter(user=club.registrar.user).exists()
        assert not User.objects.get(pk=club.registrar.user.pk).has_usable_password()


class TestSessions:
    def test_one_of_ones_own_is_ended(self, club: Club) -> None:
        here, there = signed_in(club.nurse), signed_in(club.nurse)
        row = UserSession.objects.get(session_key=there.session.session_key)

        sign_in.end_session(by=sign_in.person(club.nurse.user), session_pk=row.pk)

        assert is_in(here)
        assert not is_in(there)

    def test_addresses_are_forgotten_with_the_session(self, club: Club) -> None:
        signed_in(club.nurse)
        left = signed_in(club.nurse)
        Session.objects.filter(session_key=left.session.session_key).update(
            expire_date=timezone.now() - timedelta(seconds=1)
        )

        assert sign_in.forget_ended_sessions() == 1
        assert UserSession.objects.count() == 1

    def test_never_somebody_elses(self, club: Club) -> None:
        there = signed_in(club.nurse)
        row = UserSession.objects.get(user=club.nurse.user)

        with pytest.raises(NotFound):
            sign_in.end_session(by=sign_in.person(club.other_nurse.user), session_pk=row.pk)

        assert is_in(there)
