"""Work that ended is remembered with its time, and a note that cannot be taken stops nothing."""

from __future__ import annotations

import contextlib
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection
from django.utils import timezone

from registry.desk import upkeep
from registry.ledger import triggers
from registry.models import DistributionCell, Evaluation, Upkeep
from tests.factories import make_accepted, make_club

pytestmark = pytest.mark.django_db


def test_only_the_last_end_is_kept() -> None:
    upkeep.remember(name="trial", ok=False, detail={"damages": 2})
    Upkeep.objects.update(at=timezone.now() - timedelta(days=3))

    assert upkeep.remember(name="trial", ok=True, detail={"damages": 0})

    row = Upkeep.objects.get()
    assert (row.ok, row.detail) == (True, {"damages": 0})
    assert timezone.now() - row.at < timedelta(minutes=1)


def test_a_database_that_takes_no_note_is_no_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    def away(**facts: object) -> None:
        raise DatabaseError("read only")

    monkeypatch.setattr(Upkeep.objects, "update_or_create", away)

    assert not upkeep.remember(name="trial", ok=True)


class TestTheCommands:
    def ran(self, *command: str) -> Upkeep:
        with contextlib.suppress(CommandError):
            call_command(*command, stdout=StringIO())
        return Upkeep.objects.latest("at")

    def test_a_ledger_that_is_whole_is_remembered_as_whole(self) -> None:
        make_club()

        row = self.ran("verify_ledger")

        assert (row.name, row.ok, row.detail["damages"]) == (upkeep.LEDGER, True, 0)
        assert row.detail["entries"] > 0

    def test_a_damaged_ledger_is_remembered_as_damaged(self) -> None:
        make_club()
        triggers.uninstall(connection)
        with connection.cursor() as cursor:
            cursor.execute("UPDATE registry_ledgerentry SET actor = 'someone' WHERE seq = 2")

        row = self.ran("verify_ledger")

        assert (row.ok, row.detail["damages"]) == (False, 1)

    def test_rows_that_differ_from_the_ledger_are_remembered(self) -> None:
        make_accepted(make_club())
        assert self.ran("verify_records").ok
        Evaluation.objects.update(examined_on="2026-09-01")

        row = self.ran("verify_records")

        assert (row.name, row.ok) == (upkeep.RECORDS, False)

    def test_counts_that_differ_are_remembered_until_they_are_rebuilt(self) -> None:
        make_accepted(make_club())
        DistributionCell.objects.update(dogs=7)

        assert not self.ran("rebuild_distributions", "--check").ok
        assert self.ran("rebuild_distributions").ok

    def test_the_worker_leaves_word_of_its_round(self) -> None:
        call_command("work", "--once")

        assert Upkeep.objects.filter(name=upkeep.WORKER, ok=True).exists()
