"""The secretaries hear once a day that the registry could not be put back, and no more often."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from shutil import _ntuple_diskusage
from typing import Any

import pytest
from django.core import mail
from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from registry.desk import upkeep
from registry.desk.alarms import warn_secretaries
from registry.desk.people import end_membership
from registry.ledger import triggers
from registry.models import LedgerEntry, Membership, OutboxMail, Role, Upkeep
from registry.queries.backups import COPIED, MADE, TRIED
from tests.factories import Club, make_club, make_person

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def club() -> Club:
    """A club that has been there for three days, backed up and tried today."""
    club = make_club()
    triggers.uninstall(connection)
    LedgerEntry.objects.update(at=timezone.now() - timedelta(days=3))
    triggers.install(connection)
    for name in (MADE, TRIED, COPIED):
        upkeep.remember(name=name, ok=True)
    return club


def age(name: str, **past: float) -> None:
    Upkeep.objects.filter(name=name).update(at=timezone.now() - timedelta(**past))


def alarms() -> list[OutboxMail]:
    return list(OutboxMail.objects.filter(kind="alarm").order_by("pk"))


def work() -> None:
    call_command("work", "--once")


def test_all_is_well_and_nobody_hears_of_it(club: Club) -> None:
    work()

    assert alarms() == []


def test_after_two_days_without_a_backup_every_secretary_gets_one_mail(club: Club) -> None:
    other = make_person(Role.SECRETARY, by=club.secretary.actor)
    age(MADE, hours=49)

    work()
    work()

    assert {each.to_email for each in alarms()} == {club.secretary.user.email, other.user.email}
    assert len(alarms()) == 2
    (sent, _other) = [each for each in mail.outbox if "needs a hand" in each.subject]
    assert "The last backup was made 2\xa0days ago." in sent.body
    assert "Set SOUNDLINE_BACKUP_FOLDER" in sent.body
    assert "/secretary/health/" in sent.body


def test_it_comes_again_a_day_later_while_it_lasts_and_ends_with_it(club: Club) -> None:
    age(MADE, hours=49)
    counts = []
    for hours in (0, 23, 24):
        age("alarm-backup", hours=hours)
        work()
        counts.append(len(alarms()))
    upkeep.remember(name=MADE, ok=True)
    age("alarm-backup", hours=25)
    work()

    assert counts == [1, 1, 2]
    assert len(alarms()) == 2


def test_a_backup_of_47_hours_is_no_reason(club: Club) -> None:
    age(MADE, hours=47)

    work()

    assert alarms() == []


def test_a_registry_of_today_without_a_backup_has_time(club: Club) -> None:
    Upkeep.objects.filter(name=MADE).delete()
    triggers.uninstall(connection)
    LedgerEntry.objects.update(at=timezone.now())
    triggers.install(connection)

    work()

    assert alarms() == []


def test_a_registry_of_three_days_without_any_backup_has_none(club: Club) -> None:
    Upkeep.objects.filter(name=MADE).delete()

    work()

    assert ["No backup has been made yet." in each.detail["troubles"] for each in alarms()] == [
        True
    ]


def test_a_trial_that_failed_is_told(club: Club) -> None:
    upkeep.remember(name=TRIED, ok=False)

    work()

    (told,) = alarms()
    assert "The last trial failed" in told.detail["troubles"]


def test_a_copy_that_is_late_is_told_when_copies_are_wanted(
    club: Club, settings: Any, tmp_path: Path
) -> None:
    age(COPIED, hours=49)
    work()
    before = alarms()
    settings.BACKUP_COPY_FOLDER = tmp_path

    work()

    assert before == []
    assert (
        "The last copy on another disk was made 2\xa0days ago." in (alarms()[0].detail["troubles"])
    )


def test_a_disk_that_is_almost_full_is_told(
    club: Club, settings: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = _ntuple_diskusage(2**40, 2**40 - 2**20, 2**20)
    monkeypatch.setattr("shutil.disk_usage", lambda _folder: usage)

    work()

    (told,) = alarms()
    assert "1.0\xa0MB are free at" in told.detail["troubles"]
    assert "Make room" in told.detail["troubles"]


def test_a_new_trouble_is_told_at_once_without_the_old_one(club: Club) -> None:
    warn_secretaries({"backup": "None was made."})

    warn_secretaries({"backup": "None was made.", "disk-files": "It is full."})

    assert [each.detail["troubles"] for each in alarms()] == ["None was made.", "It is full."]


def test_who_is_no_secretary_any_more_hears_nothing(club: Club) -> None:
    other = make_person(Role.SECRETARY, by=club.secretary.actor)
    role = Membership.objects.get(user=other.user)
    end_membership(by=club.secretary.actor, membership_id=role.pk)

    warn_secretaries({"backup": "None was made."})

    assert [each.to_email for each in alarms()] == [club.secretary.user.email]
