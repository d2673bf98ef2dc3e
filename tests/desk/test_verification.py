"""Once a day ledger and records are verified; officers hear of it when something was found."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.conf import LazySettings
from django.core import mail
from django.core.management import call_command
from django.db import connection
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from registry.desk import agreement, decide, upkeep
from registry.desk.log import publish_checkpoint
from registry.desk.verification import verify_records, verify_when_due
from registry.ledger import triggers
from registry.models import (
    Evaluation,
    LedgerEntry,
    LedgerTile,
    LogCheckpoint,
    OutboxMail,
    State,
    Upkeep,
)
from tests.factories import Club, make_accepted, make_club, make_submitted
from tests.reliability.planted import other_body, rechain, rows

pytestmark = pytest.mark.django_db

BOTH = {upkeep.LEDGER: 0, upkeep.RECORDS: 0}


@pytest.fixture(autouse=True)
def registry(settings: LazySettings) -> Club:
    """A club with a result, two officers, and a checkpoint that was mailed."""
    settings.LOG_OFFICERS = ["one@club.example", "two@club.example"]
    club = make_club()
    make_accepted(club)
    publish_checkpoint()
    LogCheckpoint.objects.update(mailed_at=timezone.now())
    OutboxMail.objects.all().delete()
    return club


def noted(name: str) -> Upkeep:
    return Upkeep.objects.get(name=name)


def hours_ago(hours: float) -> None:
    Upkeep.objects.update(at=timezone.now() - timedelta(hours=hours))


class TestSchedule:
    def test_both_are_done_once_a_day(self) -> None:
        assert verify_when_due() == BOTH
        assert (noted(upkeep.LEDGER).ok, noted(upkeep.RECORDS).ok) == (True, True)

        hours_ago(23)
        assert verify_when_due() == {}
        hours_ago(24)
        assert verify_when_due() == BOTH

    def test_a_clock_that_was_ahead_switches_nothing_off(self) -> None:
        verify_when_due()
        hours_ago(-24 * 365)

        assert verify_when_due() == BOTH

    def test_one_that_was_done_by_hand_waits_a_day_too(self) -> None:
        call_command("verify_ledger", verbosity=0)

        assert verify_when_due() == {upkeep.RECORDS: 0}

    def test_a_bad_end_is_not_tried_again_before_the_next_day(self) -> None:
        Evaluation.objects.update(examined_on="2026-09-01")
        verify_when_due()

        assert verify_when_due() == {}

    def test_the_worker_does_it(self) -> None:
        call_command("work", "--once")

        assert (noted(upkeep.LEDGER).ok, noted(upkeep.RECORDS).ok) == (True, True)

    def test_an_empty_registry_is_verified_too(self) -> None:
        LogCheckpoint.objects.all().delete()

        assert verify_when_due() == BOTH


class TestWhatIsFound:
    def test_all_is_in_order_without_a_mail(self) -> None:
        verify_when_due()

        assert not OutboxMail.objects.exists()

    def test_rows_that_differ_are_told_to_every_officer(
        self, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
    ) -> None:
        reference = Evaluation.objects.get().reference
        Evaluation.objects.update(examined_on="2026-09-01")

        with django_capture_on_commit_callbacks(execute=True):
            found = verify_when_due()

        assert found[upkeep.LEDGER] == 0
        assert found[upkeep.RECORDS] >= 1
        assert not noted(upkeep.RECORDS).ok
        assert [each.to for each in mail.outbox] == [["one@club.example"], ["two@club.example"]]
        (subject, body) = (mail.outbox[0].subject, mail.outbox[0].body)
        assert subject == "The registry does not say what its log says"
        assert f"result {reference}: examined_on is not what entry" in body
        assert "manage.py verify_records" in body

    def test_a_history_written_anew_differs_from_what_was_mailed(
        self, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
    ) -> None:
        triggers.uninstall(connection)
        rechain(3, other_body(rows(3)[0][1]))

        with django_capture_on_commit_callbacks(execute=True):
            verify_when_due()

        row = noted(upkeep.LEDGER)
        assert not row.ok
        assert mail.outbox[0].subject == "The registry's log is damaged"
        assert "history · rewritten" in mail.outbox[0].body

    def test_a_cut_history_differs_from_what_was_mailed(self) -> None:
        triggers.uninstall(connection)
        last = LedgerEntry.objects.latest("seq").seq
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM registry_ledgertext WHERE entry_id = %s", [last])
            cursor.execute("DELETE FROM registry_ledgerentry WHERE seq = %s", [last])

        assert verify_when_due()[upkeep.LEDGER] >= 1

    def test_a_ledger_that_cannot_be_read_as_a_witness_is_a_finding_and_no_crash(self) -> None:
        triggers.uninstall(connection)
        with connection.cursor() as cursor:
            cursor.execute(
                "UPDATE registry_ledgerentry SET body = 'lost' WHERE action = 'evaluation.accepted'"
            )

        found = verify_when_due()

        assert found[upkeep.LEDGER] >= 1
        assert found[upkeep.RECORDS] == 1
        assert "cannot be read" in noted(upkeep.RECORDS).detail["first"]

    @pytest.mark.parametrize(
        ("table", "column", "value", "name"),
        [
            ("reading", "head_radius_mm", 10**18, upkeep.RECORDS),
            ("ledgertile", "hashes", "text", upkeep.LEDGER),
            ("ledgertile", "hashes", 10**18, upkeep.LEDGER),
            ("logcheckpoint", "note", b"\x80", upkeep.LEDGER),
        ],
    )
    def test_a_value_of_another_kind_is_a_finding_and_no_crash(
        self, table: str, column: str, value: str | int | bytes, name: str
    ) -> None:
        if connection.vendor != "sqlite":
            pytest.skip("needs SQLite: other databases take no value of another kind")
        LedgerTile.objects.create(level=0, index=0, hashes=bytes(8192))
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA ignore_check_constraints = ON")
            cursor.execute(f"UPDATE registry_{table} SET {column} = %s", [value])
            cursor.execute("PRAGMA ignore_check_constraints = OFF")

        assert verify_when_due()[name] > 0
        assert not noted(name).ok

    def test_without_officers_it_is_remembered_all_the_same(self, settings: LazySettings) -> None:
        settings.LOG_OFFICERS = []
        Evaluation.objects.update(examined_on="2026-09-01")

        verify_when_due()

        assert not noted(upkeep.RECORDS).ok
        assert not OutboxMail.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_what_is_approved_meanwhile_is_no_damage(
    registry: Club, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between reading the trail and reading the rows somebody approves a result."""
    club, waiting = registry, make_submitted(registry)
    whole = agreement._stated

    def approve() -> None:
        try:
            decide.accept(by=club.registrar.actor, evaluation_id=waiting.public_id)
        finally:
            connection.close()

    def with_an_approval_after_it() -> object:
        stated = whole()
        with ThreadPoolExecutor(1) as other:
            other.submit(approve).result()
        return stated

    monkeypatch.setattr(agreement, "_stated", with_an_approval_after_it)

    seen = verify_records()

    assert Evaluation.objects.get(pk=waiting.pk).state == State.ACCEPTED
    assert seen.damages == ()
    assert noted(upkeep.RECORDS).ok
    assert noted(upkeep.COUNTS).ok
    triggers.uninstall(connection)
