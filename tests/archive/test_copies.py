"""Backups are copied to another disk, read again there, and what stands in the way is named."""

from __future__ import annotations

import errno
import hashlib
import os
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.archive import copying
from registry.archive.copying import copy_away
from registry.archive.writing import BackupProblemError
from registry.desk import backups
from registry.models import Upkeep
from registry.queries.backups import COPIED, MADE, NOT_COPIED
from tests.factories import make_club

pytestmark = pytest.mark.django_db


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    path = tmp_path / "soundline-20261125T120000.zip"
    path.write_bytes(os.urandom(3_000_000))
    return path


@pytest.fixture
def away(tmp_path: Path) -> Path:
    folder = tmp_path / "away"
    folder.mkdir()
    return folder


@pytest.fixture
def daily(tmp_path: Path, away: Path, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of backups that are made and copied daily; they are not tried here."""
    settings.BACKUP_FOLDER, settings.BACKUP_COPY_FOLDER = tmp_path / "backups", away
    monkeypatch.setattr(backups, "put_back_for_practice", lambda *_: (True, ""))
    return tmp_path / "backups"


def age(name: str, **past: float) -> None:
    Upkeep.objects.filter(name=name).update(at=timezone.now() - timedelta(**past))


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


class TestACopy:
    def test_it_is_the_same_to_the_byte_and_for_its_owner_alone(
        self, archive: Path, away: Path
    ) -> None:
        copy = copy_away(archive, away)

        assert names(away) == [archive.name]
        assert hashlib.sha256(copy.read_bytes()).digest() == (
            hashlib.sha256(archive.read_bytes()).digest()
        )
        assert copy.stat().st_mode & 0o077 == 0

    def test_a_folder_that_is_missing_is_not_made(self, archive: Path, away: Path) -> None:
        with pytest.raises(BackupProblemError, match="Is the other disk mounted"):
            copy_away(archive, away / "unmounted")

        assert names(away) == []

    def test_a_folder_where_nobody_may_write_is_named(self, archive: Path) -> None:
        # Not even the administrator makes a file there.
        with pytest.raises(BackupProblemError, match="could not be copied to /proc"):
            copy_away(archive, Path("/proc"))

    def test_a_full_disk_leaves_nothing_behind(
        self, archive: Path, away: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def full(_handle: int) -> None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        monkeypatch.setattr(os, "fsync", full)

        with pytest.raises(BackupProblemError, match="No space left on device"):
            copy_away(archive, away)

        assert names(away) == []

    def test_what_reads_back_otherwise_is_no_copy(
        self, archive: Path, away: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        copied = copying._copied

        def on_a_bad_disk(path: Path, part: Path) -> str:
            digest = copied(path, part)
            with part.open("r+b") as file:
                file.seek(2_000_000)
                file.write(b"\0\1\2\3")
            return digest

        monkeypatch.setattr(copying, "_copied", on_a_bad_disk)

        with pytest.raises(BackupProblemError, match="does not read back"):
            copy_away(archive, away)

        assert names(away) == []

    def test_what_a_killed_copy_left_is_written_anew(self, archive: Path, away: Path) -> None:
        (away / f".{archive.name}.part").write_bytes(b"half")

        copy_away(archive, away)

        assert names(away) == [archive.name]


class TestTheWorker:
    def test_each_new_backup_is_copied_once(self, daily: Path, away: Path) -> None:
        backups.back_up_when_due()
        copied_at = Upkeep.objects.get(name=COPIED).at

        backups.back_up_when_due()

        assert names(away) == names(daily)
        assert Upkeep.objects.get(name=COPIED).at == copied_at

    def test_a_copy_that_failed_is_noted_and_tried_an_hour_later(
        self, daily: Path, away: Path
    ) -> None:
        away.rmdir()
        made = backups.back_up_when_due()
        away.mkdir()

        backups.back_up_when_due()
        at_once = names(away)
        age(NOT_COPIED, hours=2)
        backups.back_up_when_due()

        assert made is not None, "the backup itself went well"
        assert "not there" in Upkeep.objects.get(name=NOT_COPIED).detail["error"]
        assert (at_once, names(away)) == ([], [made.name])

    def test_the_newest_are_kept_there_too(self, daily: Path, away: Path, settings: Any) -> None:
        settings.BACKUPS_KEPT = 2
        (away / "letter.zip").touch()
        for _ in range(4):
            backups.back_up_when_due()
            age(MADE, days=1)

        assert names(away) == ["letter.zip", *names(daily)]

    def test_an_encrypted_backup_is_copied_as_it_is(
        self, daily: Path, away: Path, settings: Any
    ) -> None:
        settings.BACKUP_KEY = "A" * 43 + "="

        backups.back_up_when_due()

        (copy,) = away.iterdir()
        assert copy.name.endswith(".zip.sealed")
        assert copy.read_bytes() == (daily / copy.name).read_bytes()


def test_the_command_copies_when_asked(daily: Path, away: Path) -> None:
    said = StringIO()

    call_command("backup", "--copy", stdout=said)

    assert names(away) == names(daily)
    assert f"Copied and read again: {away}" in said.getvalue()


def test_the_command_asks_for_a_folder_to_copy_to(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="SOUNDLINE_BACKUP_COPY_FOLDER"):
        call_command("backup", str(tmp_path), "--copy")


def test_the_page_of_health_tells_the_age_of_the_last_copy(daily: Path) -> None:
    client = Client()
    client.force_login(make_club().secretary.user)
    backups.back_up_when_due()
    age(COPIED, hours=30)

    page = client.get(reverse("secretary:health")).content.decode()

    assert "The last copy on another disk was made 1\xa0day ago." in page
