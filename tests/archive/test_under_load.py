"""Backups that are made while the club works are each of one moment.

Five rounds here, fifty in ``make soak``.
"""

from __future__ import annotations

import json
import random
import time
from pathlib import Path
from threading import Event, Thread
from typing import Self

import pytest
from django.conf import settings
from django.db import connection

from registry.archive.checking import check, check_rows, opened, schema_of
from registry.archive.writing import back_up
from registry.desk import evidence
from registry.models import LedgerHead
from tests.archive.damages import Files, read_zip
from tests.factories import Club, make_accepted, make_club, make_dog
from tests.reliability.numbers import counted, times
from tests.reliability.record import What

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = times(soak=50, short=5)


class _AtWork:
    """A thread that registers dogs, sends files and results and decides, one after the other."""

    def __init__(self, club: Club) -> None:
        self._club = club
        self._stop = Event()
        self._thread = Thread(target=self._work)
        self.done = 0
        self.error: Exception | None = None

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_details: object) -> None:
        self._stop.set()
        self._thread.join(timeout=60)

    def _work(self) -> None:
        try:
            while not self._stop.is_set():
                self._once()
                self.done += 1
        except Exception as error:  # noqa: BLE001
            self.error = error
        finally:
            connection.close()

    def _once(self) -> None:
        nurse = self._club.nurse.actor
        kept, dropped = (
            evidence.attach(by=nurse, chunks=[b"%PDF-1.7 ", name.encode()], name=name)
            for name in ("kept.pdf", "dropped.pdf")
        )
        make_accepted(self._club, make_dog(self._club), evidence=[kept.public_id])
        evidence.detach(by=nurse, evidence_id=dropped.public_id)


def test_each_is_of_one_moment_and_keeps_nobody_waiting(tmp_path: Path) -> None:
    club = make_club()
    make_accepted(club)
    seen: list[int] = []

    with _AtWork(club) as work, counted(What.BACKUPS) as count:
        for _ in range(ROUNDS):
            time.sleep(random.uniform(0, 0.2))
            before, at_start = LedgerHead.objects.get().seq, work.done
            made = back_up(tmp_path)
            after = LedgerHead.objects.get().seq
            manifest = check(opened(made.path))
            check_rows(opened(made.path), manifest, schema_of(manifest))
            entries = manifest.facts["ledger"]["entries"]
            assert before <= entries <= after
            assert manifest.facts["missing_files"] == []
            _is_of_one_moment(read_zip(made.path), entries)
            seen.append(work.done - at_start)
            count.done += 1

    assert work.error is None
    assert work.done > 0
    assert sum(seen) > 0, "nothing was written while backups were made: the test shows nothing"
    assert len(list(Path(settings.EVIDENCE_ROOT).iterdir())) >= work.done


def _is_of_one_moment(files: Files, entries: int) -> None:
    """Rows of different tables agree, though they were read one after the other."""
    rows = {
        name.removeprefix("rows/").removesuffix(".jsonl"): [
            json.loads(line) for line in data.splitlines()
        ]
        for name, data in files.items()
        if name.startswith("rows/")
    }
    assert [row["seq"] for row in rows["ledgerentry"]] == list(range(1, entries + 1))
    told = [json.loads(row["body"]) for row in rows["ledgerentry"]]
    deeds = [each["action"] for each in told]
    accepted = [row["id"] for row in rows["evaluation"] if row["state"] == "accepted"]
    assert deeds.count("dog.registered") == len(rows["dog"])
    assert deeds.count("evaluation.accepted") == len(accepted) == len(rows["certificate"])
    assert {row["evaluation_id"] for row in rows["certificate"]} == set(accepted)
    assert {row["evaluation_id"] for row in rows["reading"]} >= set(accepted)
    assert len(rows["countedvalue"]) == sum(row["dogs"] for row in rows["distributioncell"])
    attached = deeds.count("evidence.attached") - deeds.count("evidence.removed")
    assert attached == len(rows["evidence"])
