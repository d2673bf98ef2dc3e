"""The background worker does its round, survives a database that is away, and stops when told."""

import os
import signal
import subprocess
import sys
import time
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import OperationalError
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from registry.desk import evidence, replay
from registry.desk.log import HistoryDiffersError
from registry.management.commands import work
from registry.models import (
    BreedingRun,
    Evidence,
    LedgerHead,
    LogCheckpoint,
    PublicState,
    ReplayKey,
    RunState,
    StoredHistogram,
)
from tests.factories import make_accepted, make_club

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.mark.django_db
class TestOneRound:
    def test_it_delivers_what_waits(self, monkeypatch: pytest.MonkeyPatch) -> None:
        rounds: list[int] = []

        def deliver() -> tuple[int, int]:
            rounds.append(1)
            return 1, 0

        monkeypatch.setattr(work, "deliver_waiting", deliver)

        call_command("work", "--once")

        assert rounds == [1]

    def test_it_forgets_request_keys_past_their_time_only(self) -> None:
        for key in ("old", "young"):
            ReplayKey.objects.create(scope="s", key=key, route="r", body_hash="h", status=201)
        past = timezone.now() - replay.KEPT_FOR - timedelta(minutes=1)
        ReplayKey.objects.filter(key="old").update(created_at=past)

        call_command("work", "--once")

        assert [row.key for row in ReplayKey.objects.all()] == ["young"]

    def test_it_forgets_sessions_past_their_time_only(self) -> None:
        now = timezone.now()
        Session.objects.create(session_key="old", expire_date=now - timedelta(minutes=1))
        Session.objects.create(session_key="young", expire_date=now + timedelta(minutes=1))

        call_command("work", "--once")

        assert [row.session_key for row in Session.objects.all()] == ["young"]

    def test_it_slides_windows_that_ended_with_an_earlier_month(self) -> None:
        make_accepted(make_club())
        StoredHistogram.objects.update(last_month=date(2026, 1, 1))

        call_command("work", "--once")

        this_month = timezone.localdate().replace(day=1)
        assert set(StoredHistogram.objects.values_list("last_month", flat=True)) == {this_month}

    def test_it_brings_public_states_into_the_month(self) -> None:
        make_accepted(make_club())
        this_month = timezone.localdate().replace(day=1)
        PublicState.objects.update(settled_month=date(2020, 1, 1))

        call_command("work", once=True)

        months = set(PublicState.objects.values_list("settled_month", flat=True))
        assert months == {this_month}

    def test_it_sweeps_files_that_nothing_named_for_a_day(self) -> None:
        club = make_club()
        for name in ("old.pdf", "young.pdf"):
            evidence.attach(by=club.nurse.actor, chunks=[b"%PDF-1.7 " + name.encode()], name=name)
        Evidence.objects.filter(original_name="old.pdf").update(
            uploaded_at=timezone.now() - timedelta(hours=25)
        )

        call_command("work", "--once")

        assert [found.original_name for found in Evidence.objects.all()] == ["young.pdf"]

    def test_it_signs_the_log(self) -> None:
        make_club()

        call_command("work", "--once")

        assert LogCheckpoint.objects.get().size == LedgerHead.objects.get().seq

    def test_a_history_that_differs_stops_the_signing_and_nothing_else(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def differs() -> None:
            raise HistoryDiffersError("the entries up to 5")

        monkeypatch.setattr(work, "publish_when_due", differs)

        call_command("work", "--once", "--sign-of-life", str(tmp_path / "alive"))

        assert (tmp_path / "alive").exists()

    def test_it_brings_breeding_values_up_to_date(self) -> None:
        club = make_club()
        make_accepted(club)

        call_command("work", "--once")

        run = BreedingRun.objects.get()
        assert (run.breed, run.state, run.dogs) == (club.breed, RunState.DONE, 1)

    def test_it_takes_up_a_run_whose_worker_was_lost(self) -> None:
        club = make_club()
        past = timezone.now() - timedelta(minutes=1)
        BreedingRun.objects.create(
            breed=club.breed,
            number=1,
            state=RunState.RUNNING,
            asked_at=past,
            lease_until=past,
            claims=1,
        )

        call_command("work", "--once")

        run = BreedingRun.objects.get()
        assert (run.state, run.claims) == (RunState.DONE, 2)

    def test_it_forgets_tasks_that_began_two_weeks_ago(self) -> None:
        now = timezone.now()
        for days in (13, 15):
            DBTaskResult.objects.create(
                args_kwargs={"args": [], "kwargs": {}},
                task_path="registry.desk.breeding.breeding_run",
                backend_name="default",
                run_after=now,
                status="RUNNING",
                started_at=now - timedelta(days=days),
            )

        call_command("work", "--once")

        kept = DBTaskResult.objects.values_list("started_at", flat=True)
        assert list(kept) == [now - timedelta(days=13)]

    def test_it_leaves_a_sign_of_life(self, tmp_path: Path) -> None:
        call_command("work", "--once", "--sign-of-life", str(tmp_path / "alive"))

        assert (tmp_path / "alive").exists()

    def test_a_chore_that_fails_keeps_no_other_from_being_done(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
    ) -> None:
        make_club()

        def broken(**_given: object) -> int:
            raise IsADirectoryError("lost+found")

        for name in ("deliver_waiting", "sweep", "examine_slowly"):
            monkeypatch.setattr(work, name, broken)
        slid: list[int] = []
        monkeypatch.setattr(work, "slide_windows", lambda: slid.append(1))

        call_command("work", "--once", "--sign-of-life", str(tmp_path / "alive"))

        assert LogCheckpoint.objects.exists()
        assert slid == [1]
        assert (tmp_path / "alive").exists()
        failed = [each.message for each in caplog.records if "chore" in each.message]
        assert [words.rpartition(" ")[2] for words in failed] == ["_deliver", "_sweep", "_examine"]

    def test_a_database_that_is_away_ends_the_round_without_a_sign(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def away() -> tuple[int, int]:
            raise OperationalError("gone")

        monkeypatch.setattr(work, "deliver_waiting", away)
        monkeypatch.setattr(work.connection, "close", lambda: None)  # type: ignore[attr-defined]

        call_command("work", "--once", "--sign-of-life", str(tmp_path / "alive"))

        assert not (tmp_path / "alive").exists()


def test_it_lives_while_a_task_takes_longer_than_a_round(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(work, "_ALIVE_EVERY_SECONDS", 0.05)
    monkeypatch.setattr(work, "_LONGEST_TASK_SECONDS", 3)
    alive = tmp_path / "alive"

    with work._alive_meanwhile(alive):
        for _ in range(100):
            if alive.exists():
                break
            time.sleep(0.02)
        seen = alive.exists()

    assert seen


def test_it_stops_when_told(tmp_path: Path) -> None:
    variables = {
        "PATH": os.environ["PATH"],
        "SOUNDLINE_MODE": "demo",
        "SOUNDLINE_VAR": str(tmp_path),
    }
    command = [sys.executable, "manage.py"]
    subprocess.run([*command, "migrate", "--verbosity", "0"], cwd=ROOT, env=variables, check=True)
    alive = tmp_path / "alive"
    worker = subprocess.Popen(
        [*command, "work", "--every", "600", "--sign-of-life", str(alive)],
        cwd=ROOT,
        env=variables,
    )
    for _ in range(300):
        if alive.exists() or worker.poll() is not None:
            break
        time.sleep(0.1)

    worker.send_signal(signal.SIGTERM)

    assert worker.wait(timeout=20) == 0
    assert alive.exists()
