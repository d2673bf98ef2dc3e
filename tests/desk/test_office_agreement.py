"""A role, account or token that was given behind the desk's back is found and named; honest work
gives no alarm."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db.models import F

from registry.desk import people, personal
from registry.desk.office_agreement import check_office
from registry.models import ApiToken, LedgerEntry, Membership, Role, User
from tests.factories import Club, make_club, make_person, make_token

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    made = make_club()
    make_token(made.nurse, by=made.secretary.actor)
    return made


def found() -> list[tuple[str, str, int]]:
    return [(damage.field, damage.kind, damage.seq) for damage in check_office()]


def last(action: str) -> int:
    return LedgerEntry.objects.filter(action=action).latest("seq").seq


class TestHonestWork:
    def test_every_deed_leaves_rows_that_agree(self, club: Club) -> None:
        by = club.secretary.actor
        leaver = make_person(Role.CLINIC, by=by, clinic=club.clinic)
        make_token(leaver, by=by)
        people.close_account(by=by, user_id=leaver.user.pk)
        erased = make_person(Role.REGISTRAR, by=by)
        make_token(erased, by=by)
        personal.erase_user(by=by, user_id=erased.user.pk)
        people.end_membership(by=by, membership_id=club.other_nurse.membership.pk)
        people.appoint(
            by=by,
            user_id=club.other_nurse.user.pk,
            role=Role.CLINIC,
            clinic_id=club.other_clinic.public_id,
        )
        make_token(club.registrar, by=by)
        people.revoke_token(by=by, token_id=ApiToken.objects.latest("pk").pk)

        assert found() == []
        call_command("verify_records")


class TestEditedRows:
    def test_a_role_nobody_gave_is_named(self, club: Club) -> None:
        Membership.objects.create(user=club.nurse.user, role=Role.REGISTRAR)

        assert found() == [("role", "added", 0)]

    def test_a_role_turned_into_another_is_named(self, club: Club) -> None:
        Membership.objects.filter(pk=club.second_registrar.membership.pk).update(
            role=Role.SECRETARY
        )

        assert sorted(each[:2] for each in found()) == [("role", "added"), ("role", "missing")]

    def test_a_role_that_was_ended_and_stands_again_is_named(self, club: Club) -> None:
        people.end_membership(by=club.secretary.actor, membership_id=club.registrar.membership.pk)

        Membership.objects.update(ended_at=None)

        assert found() == [("role", "edited", last("membership.ended"))]

    def test_a_closed_account_that_is_open_again_is_named(self, club: Club) -> None:
        people.close_account(by=club.secretary.actor, user_id=club.registrar.user.pk)

        User.objects.update(is_active=True)

        assert found() == [("account", "edited", last("user.closed"))]

    def test_an_account_nobody_opened_is_named(self, club: Club) -> None:
        User.objects.create(username="planted")

        assert found() == [("account", "added", 0)]

    @pytest.mark.parametrize(
        ("edit", "field"),
        [
            (lambda _club: {"scopes": ["decisions:write"]}, "token scopes"),
            (lambda _club: {"expires_at": F("expires_at") + timedelta(900)}, "token expires_at"),
            (lambda club: {"membership": club.registrar.membership}, "token membership"),
        ],
    )
    def test_a_token_that_may_do_more_is_named(
        self, club: Club, edit: Callable[[Club], dict[str, object]], field: str
    ) -> None:
        ApiToken.objects.update(**edit(club))

        assert found() == [(field, "edited", last("token.issued"))]

    def test_a_token_nobody_made_is_named(self, club: Club) -> None:
        ApiToken.objects.update(prefix="abcdef")

        assert found() == [("token", "added", 0)]

    def test_a_token_that_was_revoked_and_stands_again_is_named(self, club: Club) -> None:
        people.revoke_token(by=club.secretary.actor, token_id=ApiToken.objects.get().pk)

        ApiToken.objects.update(revoked_at=None)

        assert found() == [("token", "edited", last("token.revoked"))]

    def test_the_command_fails(self, club: Club, capsys: pytest.CaptureFixture[str]) -> None:
        Membership.objects.create(user=club.nurse.user, role=Role.REGISTRAR)

        with pytest.raises(CommandError):
            call_command("verify_records")

        assert "is in no entry of the ledger" in capsys.readouterr().out
