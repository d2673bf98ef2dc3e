"""Backups by themselves: daily, tried weekly, the newest kept, and their age on the first page."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.desk import backups
from registry.models import Upkeep
from registry.queries.backups import FAILED, MADE, TRIED
from tests.factories import make_club

pytestmark = pytest.mark.django_db


@pytest.fixture
def trials(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The archives that were tried; the trial itself, which takes seconds, is left out."""
    tried: list[str] = []

    def put_back(archive: Path, _folder: Path) -> tuple[bool, str]:
        tried.append(archive.name)
        return True, ""

    monkeypatch.setattr(backups, "put_back_for_practice", put_back)
    return tried


def age(name: str, **past: float) -> None:
    Upkeep.objects.filter(name=name).update(at=timezone.now() - timedelta(**past))


class TestTheWorker:
    def test_it_makes_none_without_a_folder(self) -> None:
        call_command("work", "--once")

        assert not Upkeep.objects.filter(name=MADE).exists()

    def test_it_backs_up_and_tries_it(
        self, tmp_path: Path, settings: Any, trials: list[str]
    ) -> None:
        settings.BACKUP_FOLDER = tmp_path

        call_command("work", "--once")

        (made,) = tmp_path.iterdir()
        assert trials == [made.name]
        assert Upkeep.objects.get(name=MADE).detail["file"] == made.name

    def test_a_day_later_it_makes_another_and_a_week_later_it_tries_one(
        self, tmp_path: Path, settings: Any, trials: list[str]
    ) -> None:
        settings.BACKUP_FOLDER = tmp_path
        counts = []
        for past in ({"hours": 0}, {"hours": 23}, {"hours": 24}):
            age(MADE, **past)
            backups.back_up_when_due()
            counts.append((len(list(tmp_path.iterdir())), len(trials)))
        age(MADE, days=1)
        age(TRIED, days=8)
        backups.back_up_when_due()

        assert counts == [(1, 1), (1, 1), (2, 1)]
        assert (len(list(tmp_path.iterdir())), len(trials)) == (3, 2)

    def test_it_keeps_the_newest(self, tmp_path: Path, settings: Any, trials: list[str]) -> None:
        settings.BACKUP_FOLDER, settings.BACKUPS_KEPT = tmp_path, 2
        (tmp_path / "letter.zip").touch()
        made: list[Path] = []
        for _ in range(4):
            path = backups.back_up_when_due()
            assert path is not None
            made.append(path)
            age(MADE, days=1)

        assert sorted(tmp_path.iterdir()) == sorted([tmp_path / "letter.zip", *made[2:]])

    def test_a_folder_that_cannot_be_written_is_noted_and_tried_an_hour_later(
        self, tmp_path: Path, settings: Any, trials: list[str]
    ) -> None:
        (tmp_path / "file").touch()
        settings.BACKUP_FOLDER = tmp_path / "file" / "folder"
        assert backups.back_up_when_due() is None
        settings.BACKUP_FOLDER = tmp_path / "mended"

        at_once = backups.back_up_when_due()
        age(FAILED, hours=2)
        later = backups.back_up_when_due()

        assert at_once is None
        assert later is not None
        assert "could not be written" in Upkeep.objects.get(name=FAILED).detail["error"]


class TestTheCommand:
    def test_a_trial_that_fails_is_an_error(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(backups, "put_back_for_practice", lambda *_: (False, "the words"))

        with pytest.raises(CommandError, match="could not be put back:\nthe words"):
            call_command("backup", str(tmp_path), "--self-test", stdout=StringIO())

        assert not Upkeep.objects.get(name=TRIED).ok

    def test_it_asks_for_a_folder(self) -> None:
        with pytest.raises(CommandError, match="SOUNDLINE_BACKUP_FOLDER"):
            call_command("backup")


class TestTheSecretarysPage:
    def test_it_nags_until_there_is_a_backup_and_a_trial(
        self, tmp_path: Path, trials: list[str]
    ) -> None:
        client = Client()
        client.force_login(make_club().secretary.user)
        before = client.get(reverse("secretary:home")).content.decode()

        call_command("backup", str(tmp_path), "--self-test", stdout=StringIO())

        after = client.get(reverse("secretary:home")).content.decode()
        age(MADE, hours=49)
        late = client.get(reverse("secretary:home")).content.decode()
        assert "No backup has been made yet" in before
        assert "No backup" not in after
        assert "since the last backup" in after
        assert "The last backup was made 2\xa0days ago" in late
