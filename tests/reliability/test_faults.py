"""Whichever statement or file operation of a deed fails, nothing is half done and the deed can be
done again.

Each deed is tried with its first statement failing, then with its second, and so on until it
succeeds; in a soak each statement fails in three ways. After every failure the whole database and
the evidence folder are what they were.
"""

from __future__ import annotations

import errno
import logging
import os
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import timedelta
from functools import partial
from itertools import count
from pathlib import Path

import pytest
from django.core.cache import cache
from django.db import OperationalError
from django.test import Client
from django.utils import timezone
from pytest_django import Settings

from registry.desk import evidence
from registry.desk.agreement import check_files, check_rows
from registry.desk.distributions import compare_distributions
from registry.ledger import Actor
from registry.ledger.verify import verify
from registry.models import Evidence, LedgerEntry, OutboxMail
from tests.factories import Club, make_accepted, make_club
from tests.reliability.deeds import DEEDS, Act, Deed, a_file_taken_off, an_upload, make_file
from tests.reliability.faults import CODES, SQL_WORDS, How, file_fault, rows, sql_fault
from tests.reliability.numbers import IS_SOAK, Count, counted, times
from tests.reliability.record import What

HOWS = tuple(How) if IS_SOAK else (How.REFUSED,)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def folder(settings: Settings, tmp_path: Path) -> Path:
    settings.EVIDENCE_ROOT = tmp_path / "evidence"
    return tmp_path / "evidence"


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture(autouse=True)
def _quiet() -> Iterator[None]:
    """What fails after the commit is logged with its trace; here that is hundreds of times."""
    logging.disable(logging.ERROR)
    yield
    logging.disable(logging.NOTSET)


def assert_whole(folder: Path) -> None:
    """No row without its entry, no count that is off, no file without its bytes; what no row names
    the sweeper takes."""
    assert list(check_rows()) == []
    assert list(check_files()) == []
    assert verify().is_whole
    for path in folder.iterdir() if folder.is_dir() else ():
        os.utime(path, (0, 0))
    evidence.sweep(by=Actor.system())
    named = {evidence.stored_path(film) for film in Evidence.objects.all()}
    assert named == {path for path in folder.glob("*") if path.is_file()}


def entries_and_mails(deed: Deed) -> tuple[int, ...]:
    """How many of each the deed has left so far."""
    return (
        LedgerEntry.objects.filter(action=deed.action).count(),
        *(OutboxMail.objects.filter(kind=kind).count() for kind in deed.mails),
    )


class Trial:
    """One deed, tried with a fault at one point after the other."""

    def __init__(self, deed: Deed, club: Club, folder: Path, count: Count) -> None:
        self.deed, self.club, self.folder, self.count = deed, club, folder, count
        self.prepare()

    def prepare(self) -> None:
        """Something fresh to do it on."""
        self.act: Act = self.deed.prepare(self.club)
        self.rows = rows()
        self.left = entries_and_mails(self.deed)

    def survives(self, number: int, how: How) -> bool:
        """Whether there was an n-th statement to fail."""
        cache.clear()
        failed = False
        with sql_fault(number, how) as fault:
            try:
                self.act()
            except OperationalError as error:
                if SQL_WORDS not in str(error):
                    raise
                failed = True
        if not fault.was_hit:
            self.assert_done()
            return False
        self.count.done += 1
        if failed and self.is_as_before():
            assert_whole(self.folder)
        else:
            # It failed after the commit, in what may fail then: the deed itself is done.
            self.assert_done()
            self.prepare()
        return True

    def is_as_before(self) -> bool:
        """Whether nothing changed but what may."""
        now = rows()
        changed = {table for table in now if now[table] != self.rows[table]}
        return changed <= self.deed.leaves

    def assert_done(self) -> None:
        """Done once, wholly."""
        if self.deed.action:
            assert entries_and_mails(self.deed) == tuple(number + 1 for number in self.left)
        assert_whole(self.folder)
        assert compare_distributions().agrees


@pytest.mark.parametrize("name", DEEDS)
def test_no_failing_statement_leaves_anything_half_done(
    name: str, club: Club, folder: Path
) -> None:
    deed = DEEDS[name]
    with counted(What.SQL_FAULTS, name) as so_far:
        trial = Trial(deed, club, folder, so_far)

        points = next(
            number - 1
            for number in count(1)
            if not all(trial.survives(number, how) for how in HOWS)
        )

    # Were there fewer, the faults would have hit something else.
    assert points >= deed.at_least


def test_there_are_enough_points_to_fail() -> None:
    assert sum(deed.at_least for deed in DEEDS.values()) * len(HOWS) >= times(soak=500, short=200)


def a_sweep(club: Club) -> Act:
    """Of a film that nothing named for a day, and of half a file."""
    film = make_file(club)
    Evidence.objects.filter(pk=film.pk).update(uploaded_at=timezone.now() - timedelta(days=2))
    half = evidence.stored_path(film).with_suffix(".part")
    half.write_bytes(b"half a film")
    for path in (half, evidence.stored_path(film)):
        os.utime(path, (0, 0))
    return partial(evidence.sweep, by=Actor.system())


# The act, and how many operations it has at the least.
FILE_DEEDS: dict[str, tuple[Callable[[Club], Act], int]] = {
    "upload": (an_upload, 8),
    "file taken off": (a_file_taken_off, 1),
    "sweep": (a_sweep, 2),
}


@pytest.mark.parametrize("code", CODES, ids=os.strerror)
@pytest.mark.parametrize("name", FILE_DEEDS)
def test_no_failing_file_operation_leaves_anything_half_done(
    name: str, code: int, club: Club, folder: Path
) -> None:
    prepare, at_least = FILE_DEEDS[name]
    with counted(What.FILE_FAULTS, f"{name}, {os.strerror(code)}") as so_far:
        for number in count(1):
            act, before = prepare(club), rows()
            with file_fault(number, code, folder) as fault, suppress(OSError):
                act()
            if not fault.was_hit:
                break
            so_far.done += 1
            if rows() == before:
                act()
                assert rows() != before, "it can be done again"
            assert_whole(folder)
        assert so_far.done >= at_least


def test_a_certificate_is_printed_though_the_disk_is_full(
    club: Club, settings: Settings, tmp_path: Path
) -> None:
    settings.VAR_DIR = tmp_path
    number = make_accepted(club).number

    for at in count(1):
        with file_fault(at, errno.ENOSPC, tmp_path) as fault:
            answer = Client().get(f"/C/{number}.pdf")
        assert answer.status_code == 200
        assert b"".join(answer).startswith(b"%PDF-")
        if not fault.was_hit:
            break
    assert at > 1
