"""The secretary's accounts, clinics, roles and tokens: who may what, and what is told to whom."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.utils import timezone

from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.desk.people import (
    LONGEST_TOKEN_DAYS,
    add_clinic,
    appoint,
    change_clinic,
    close_account,
    digest_of,
    end_membership,
    first_secretary,
    issue_token,
    note_use,
    open_account,
    revoke_token,
)
from registry.models import (
    ApiToken,
    Clinic,
    LedgerEntry,
    LedgerText,
    Membership,
    Role,
    User,
)
from tests.factories import PASSWORD, Club, Person, make_club, make_person, make_token

pytestmark = pytest.mark.django_db

PERSON = {
    "login": "wilma.brook",
    "full_name": "Wilma Brook",
    "email": "wilma@club.example",
    "password": PASSWORD,
}


@pytest.fixture
def club() -> Club:
    return make_club()


def opened(club: Club, **facts: str) -> User:
    return open_account(by=club.secretary.actor, **{**PERSON, **facts})


def issued(club: Club, person: Person, **facts: Any) -> ApiToken:
    given = {"name": "practice software", "scopes": ["dogs:read"], "days": 30, **facts}
    return issue_token(by=club.secretary.actor, membership_id=person.membership.pk, **given).token


class TestTheFirstSecretary:
    def test_there_is_one_first(self, club: Club) -> None:
        with pytest.raises(Refused, match="There is a secretary already"):
            first_secretary(**PERSON)

        assert not User.objects.filter(username="wilma.brook").exists()

    def test_they_may_open_accounts(self) -> None:
        user = first_secretary(**PERSON)

        assert list(user.memberships.values_list("role", flat=True)) == [Role.SECRETARY]


class TestOpenAccount:
    def test_it_can_do_nothing_yet(self, club: Club) -> None:
        user = opened(club)

        assert not user.memberships.exists()
        assert not user.is_staff
        assert not user.is_superuser
        assert authenticate(username="wilma.brook", password=PASSWORD) == user

    def test_the_ledger_knows_the_person_by_a_random_id(self, club: Club) -> None:
        user = opened(club)

        entry = LedgerEntry.objects.latest("seq")
        assert entry.subject == f"user:{user.subject_id}"
        for word in ("wilma", "Brook", "club.example", PASSWORD, user.password):
            assert word not in entry.body
        texts = dict(LedgerText.objects.filter(entry=entry).values_list("field", "text"))
        assert texts == {
            "login.to": "wilma.brook",
            "full_name.to": "Wilma Brook",
            "email.to": "wilma@club.example",
        }

    @pytest.mark.parametrize(
        ("facts", "pointer", "words"),
        [
            ({"login": "ab"}, "/login", "3 to 60"),
            ({"login": "wilma brook"}, "/login", "3 to 60"),
            ({"login": "w" * 61}, "/login", "3 to 60"),
            ({"full_name": " "}, "/full_name", "the person's name"),
            ({"full_name": "W" * 121}, "/full_name", "120 characters"),
            ({"email": "wilma"}, "/email", "name@example.org"),
            ({"email": ""}, "/email", "name@example.org"),
            ({"password": "short"}, "/password", "at least 15 characters"),
            ({"password": "123456789012345"}, "/password", "follows a row"),
            ({"password": "wilma@club.example"}, "/password", "too similar"),
        ],
    )
    def test_what_cannot_be_is_refused(
        self, club: Club, facts: dict[str, str], pointer: str, words: str
    ) -> None:
        with pytest.raises(Invalid) as said:
            opened(club, **facts)

        told = {p.pointer: p.message for p in said.value.problems}
        assert words in told[pointer]
        assert not User.objects.filter(full_name="Wilma Brook").exists()

    def test_a_login_is_taken_whatever_its_case(self, club: Club) -> None:
        opened(club)

        with pytest.raises(Invalid, match="This login is taken"):
            opened(club, login=" Wilma.BROOK ")

    def test_only_the_secretary_opens_one(self, club: Club) -> None:
        for person in (club.registrar, club.nurse):
            with pytest.raises(Refused):
                open_account(by=person.actor, **PERSON)


class TestCloseAccount:
    def test_roles_and_tokens_end_and_nobody_signs_in(self, club: Club) -> None:
        token = issued(club, club.nurse)

        user = close_account(by=club.secretary.actor, user_id=club.nurse.user.pk)

        token.refresh_from_db()
        assert token.revoked_at is not None
        assert not user.memberships.filter(ended_at__isnull=True).exists()
        assert authenticate(username=club.nurse.login, password=PASSWORD) is None

    def test_not_ones_own(self, club: Club) -> None:
        with pytest.raises(Refused, match="your own account"):
            close_account(by=club.secretary.actor, user_id=club.secretary.user.pk)

    def test_an_unknown_one_is_not_found(self, club: Club) -> None:
        with pytest.raises(NotFound):
            close_account(by=club.secretary.actor, user_id=0)


class TestClinics:
    def test_two_of_one_name_are_refused(self, club: Club) -> None:
        with pytest.raises(Invalid, match="clinic of this name already") as said:
            add_clinic(by=club.secretary.actor, name=f"  {club.clinic.name} ")

        assert said.value.problems[0].pointer == "/name"

    @pytest.mark.parametrize(
        ("facts", "pointer"),
        [
            ({"name": " "}, "/name"),
            ({"name": "x" * 121}, "/name"),
            ({"town": "x" * 81}, "/town"),
            ({"email": "clinic"}, "/email"),
        ],
    )
    def test_what_cannot_be_is_refused(
        self, club: Club, facts: dict[str, str], pointer: str
    ) -> None:
        before = Clinic.objects.count()

        with pytest.raises(Invalid) as said:
            add_clinic(by=club.secretary.actor, **{"name": "Brookside", **facts})

        assert [problem.pointer for problem in said.value.problems] == [pointer]
        assert Clinic.objects.count() == before

    def test_its_entry_holds_only_what_changed_and_no_address(self, club: Club) -> None:
        change_clinic(
            by=club.secretary.actor,
            clinic_id=club.clinic.public_id,
            name=club.clinic.name,
            town="Fellwick",
            email="new@clinic.example",
            is_active=True,
        )

        entry = LedgerEntry.objects.latest("seq")
        assert '"values":{"town":{"from":"Tarnby","to":"Fellwick"}}' in entry.body
        assert "new@clinic.example" not in entry.body

    def test_only_the_secretary_changes_one(self, club: Club) -> None:
        for person in (club.registrar, club.nurse):
            with pytest.raises(Refused):
                add_clinic(by=person.actor, name="Brookside")


class TestRoles:
    def test_a_clinic_role_names_its_clinic(self, club: Club) -> None:
        user = opened(club)

        with pytest.raises(Invalid, match="Choose the clinic") as said:
            appoint(by=club.secretary.actor, user_id=user.pk, role=Role.CLINIC)

        assert said.value.problems[0].pointer == "/clinic"

    def test_another_role_forgets_the_clinic(self, club: Club) -> None:
        membership = appoint(
            by=club.secretary.actor,
            user_id=opened(club).pk,
            role=Role.REGISTRAR,
            clinic_id=club.clinic.public_id,
        )

        assert membership.clinic is None

    def test_the_same_role_twice_is_a_conflict(self, club: Club) -> None:
        with pytest.raises(Conflict, match="has this role already"):
            appoint(by=club.secretary.actor, user_id=club.registrar.user.pk, role=Role.REGISTRAR)

    def test_a_person_may_work_for_two_clinics(self, club: Club) -> None:
        appoint(
            by=club.secretary.actor,
            user_id=club.nurse.user.pk,
            role=Role.CLINIC,
            clinic_id=club.other_clinic.public_id,
        )

        assert club.nurse.user.memberships.filter(ended_at__isnull=True).count() == 2

    def test_an_ended_role_may_begin_again(self, club: Club) -> None:
        end_membership(by=club.secretary.actor, membership_id=club.registrar.membership.pk)

        again = appoint(
            by=club.secretary.actor, user_id=club.registrar.user.pk, role=Role.REGISTRAR
        )

        assert again.pk != club.registrar.membership.pk

    def test_the_last_secretary_stays(self, club: Club) -> None:
        with pytest.raises(Refused, match="Appoint another one first"):
            end_membership(by=club.secretary.actor, membership_id=club.secretary.membership.pk)

        make_person(Role.SECRETARY, by=club.secretary.actor)
        end_membership(by=club.secretary.actor, membership_id=club.secretary.membership.pk)

        assert Membership.objects.filter(role=Role.SECRETARY, ended_at__isnull=True).count() == 1

    def test_ending_twice_is_one_entry(self, club: Club) -> None:
        for _ in range(2):
            end_membership(by=club.secretary.actor, membership_id=club.nurse.membership.pk)

        assert LedgerEntry.objects.filter(action="membership.ended").count() == 1

    def test_only_the_secretary_appoints(self, club: Club) -> None:
        for person in (club.registrar, club.nurse):
            with pytest.raises(Refused):
                appoint(by=person.actor, user_id=person.user.pk, role=Role.SECRETARY)


class TestTokens:
    def test_only_its_digest_is_kept(self, club: Club) -> None:
        secret = make_token(club.nurse, by=club.secretary.actor)

        token = ApiToken.objects.get()
        assert token.digest == digest_of(secret)
        assert secret not in str(ApiToken.objects.values().get())
        assert secret not in "".join(LedgerEntry.objects.values_list("body", flat=True))
        # 32 random bytes in base64 are 43 signs.
        assert len(secret.removeprefix("sl_")) == 43

    @pytest.mark.parametrize(
        ("facts", "pointer"),
        [
            ({"name": " "}, "/name"),
            ({"name": "x" * 81}, "/name"),
            ({"days": 0}, "/days"),
            ({"days": LONGEST_TOKEN_DAYS + 1}, "/days"),
            ({"scopes": []}, "/scopes"),
            ({"scopes": ["dogs:read", "decisions:write"]}, "/scopes"),
            ({"scopes": ["everything"]}, "/scopes"),
        ],
    )
    def test_what_cannot_be_is_refused(
        self, club: Club, facts: dict[str, Any], pointer: str
    ) -> None:
        with pytest.raises(Invalid) as said:
            issued(club, club.nurse, **facts)

        assert [problem.pointer for problem in said.value.problems] == [pointer]
        assert not ApiToken.objects.exists()

    def test_it_lapses_after_its_days(self, club: Club) -> None:
        token = issued(club, club.nurse, days=1)

        assert timedelta(hours=23) < token.expires_at - timezone.now() <= timedelta(days=1)

    def test_it_ends_with_its_role(self, club: Club) -> None:
        token, other = issued(club, club.nurse), issued(club, club.other_nurse)

        end_membership(by=club.secretary.actor, membership_id=club.nurse.membership.pk)

        token.refresh_from_db()
        other.refresh_from_db()
        assert token.revoked_at is not None
        assert other.revoked_at is None

    def test_an_ended_role_gets_none(self, club: Club) -> None:
        end_membership(by=club.secretary.actor, membership_id=club.nurse.membership.pk)

        with pytest.raises(NotFound):
            issued(club, club.nurse)

    def test_revoking_twice_is_one_entry(self, club: Club) -> None:
        token = issued(club, club.nurse)

        first = revoke_token(by=club.secretary.actor, token_id=token.pk)
        second = revoke_token(by=club.secretary.actor, token_id=token.pk)

        assert first.revoked_at == second.revoked_at
        assert LedgerEntry.objects.filter(action="token.revoked").count() == 1

    def test_its_use_is_noted_every_five_minutes_and_is_no_entry(self, club: Club) -> None:
        token = issued(club, club.nurse)
        entries = LedgerEntry.objects.count()
        start = timezone.now()

        seen = []
        for minutes in (0, 4, 6):
            note_use(token=token, at=start + timedelta(minutes=minutes))
            token.refresh_from_db()
            seen.append(token.last_used_at)

        assert seen == [start, start, start + timedelta(minutes=6)]
        assert LedgerEntry.objects.count() == entries

    def test_only_the_secretary_issues_one(self, club: Club) -> None:
        for person in (club.registrar, club.nurse):
            with pytest.raises(Refused):
                make_token(person, by=person.actor)
