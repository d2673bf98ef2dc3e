"""Another time than the computer's: for a trial club while it is made, and for nothing else."""

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import Client
from django.utils import timezone

from registry import clock
from registry.desk import catalogue
from registry.desk.actor import Actor
from registry.interruptions import passes
from registry.ledger.append import Appended
from registry.ledger.append import append as append_entry
from registry.ledger.invented_time import NotAllowedError, invented_time
from registry.ledger.verify import verify
from registry.models import LedgerEntry
from tests.factories import make_club
from tests.settings.production import environment, manage

BEGAN = datetime(2015, 3, 2, 9, 30, tzinfo=UTC)
NOW = "django.utils.timezone.now"


def append(name: str = "something") -> Appended:
    return append_entry(by=Actor.system(), action="breed.added", subject=f"breed:{name}")


@pytest.mark.django_db
class TestATrialClubInTheMaking:
    def test_deeds_rows_and_entries_are_of_the_invented_time(self) -> None:
        with transaction.atomic(), invented_time(BEGAN) as time:
            catalogue.add_breed(by=Actor.system(), name="Tarn Spaniel")
            time.move_to(BEGAN + timedelta(days=400))
            append()
            assert clock.today() == (BEGAN + timedelta(days=400)).date()

        years = [at.year for at in LedgerEntry.objects.values_list("at", flat=True)]
        assert years == [2015, 2016]
        assert verify().is_whole
        assert abs(clock.now() - timezone.now()) < timedelta(seconds=1)

    def test_two_moments_asked_for_are_never_the_same(self) -> None:
        with transaction.atomic(), invented_time(BEGAN):
            assert BEGAN < clock.now() < clock.now()

    def test_it_goes_back_for_nobody(self) -> None:
        with transaction.atomic(), invented_time(BEGAN) as time:
            clock.now()
            with pytest.raises(NotAllowedError, match="already"):
                time.move_to(BEGAN)

    def test_nothing_can_be_of_a_day_that_has_not_come(self) -> None:
        tomorrow = timezone.now() + timedelta(days=1)

        with transaction.atomic():
            with pytest.raises(NotAllowedError, match="not come"), invented_time(tomorrow):
                pass
            with invented_time(BEGAN) as time, pytest.raises(NotAllowedError, match="not come"):
                time.move_to(tomorrow)

    def test_other_threads_keep_the_computers_time(self) -> None:
        seen: list[datetime] = []
        with transaction.atomic(), invented_time(BEGAN):
            other = Thread(target=lambda: seen.append(clock.now()))
            other.start()
            other.join()

        assert abs(seen[0] - timezone.now()) < timedelta(seconds=10)

    def test_the_computers_time_is_back_after_a_failure(self) -> None:
        with pytest.raises(ZeroDivisionError), transaction.atomic(), invented_time(BEGAN):
            raise ZeroDivisionError

        assert clock.now().year > BEGAN.year


@pytest.mark.django_db
class TestNobodyElse:
    def refused(self, why: str) -> None:
        refusal = pytest.raises(NotAllowedError, match=why)
        with transaction.atomic(), refusal, invented_time(BEGAN):
            append()
        assert clock.now().year > BEGAN.year

    @pytest.mark.parametrize("mode", ["production", "development", "Demo", ""])
    def test_only_a_trial_has_another_time(self, settings: Any, mode: str) -> None:
        settings.MODE = mode
        settings.DEBUG = True

        self.refused("trial")

    def test_a_ledger_with_one_entry_has_the_computers_time_for_ever(self) -> None:
        with transaction.atomic():
            append()

        self.refused("entries")

    def test_nor_can_it_begin_twice(self) -> None:
        with transaction.atomic(), invented_time(BEGAN):
            self_set = clock.INVENTED.get()
            with pytest.raises(NotAllowedError, match="already"), invented_time(BEGAN):
                pass
            assert clock.INVENTED.get() is self_set

    def test_no_request_moves_it(self, settings: Any) -> None:
        club = make_club()
        past = BEGAN.isoformat()
        told = {"at": past, "now": past, "date": past, "as_of": past, "clock": past}
        client = Client(
            headers={"Date": "Mon, 02 Mar 2015 09:30:00 GMT", "X-Now": past, "X-Clock": past}
        )
        client.force_login(club.secretary.user)
        before = LedgerEntry.objects.count()

        for path in ("/", "/breeds/", "/api/v1/breeds", "/secretary/breeds/", "/sign-in/"):
            client.get(path, told)
            client.post(path, told)
        catalogue.add_breed(by=club.secretary.actor, name="Fell Pointer")

        newest = LedgerEntry.objects.order_by("seq").last()
        assert newest is not None
        assert newest.seq > before
        assert timezone.now() - newest.at < timedelta(minutes=1)

    def test_the_command_that_makes_the_trial_club_refuses_a_real_one(self, settings: Any) -> None:
        settings.MODE = "production"
        settings.IS_PRODUCTION = True

        with pytest.raises(CommandError, match="never"):
            call_command("demo")


def test_one_place_sets_it_and_one_command_gets_there() -> None:
    # A contract of the import linter says the same of whole modules.
    def naming(word: str) -> set[str]:
        places = [Path(settings.BASE_DIR) / room for room in ("registry", "api")]
        files = [file for place in places for file in place.rglob("*.py")]
        found = [file for file in files if re.search(rf"\b{word}\b", file.read_text("utf-8"))]
        return {str(file.relative_to(settings.BASE_DIR)) for file in found}

    assert naming("INVENTED") == {"registry/clock.py", "registry/ledger/invented_time.py"}
    assert {
        name
        for name in naming(r"registry\.demo\.\w+ import")
        if not name.startswith("registry/demo/")
    } == {"registry/management/commands/demo.py"}


def test_no_setting_of_the_environment_moves_a_real_clubs_clock(tmp_path: Path) -> None:
    program = """
import datetime, time, django
django.setup()
from django.db import transaction
from registry import clock
from registry.ledger.invented_time import NotAllowedError, invented_time
print(abs(clock.now().timestamp() - time.time()) < 5)
past = datetime.datetime(2015, 3, 2, tzinfo=datetime.UTC)
try:
    with transaction.atomic(), invented_time(past):
        print("moved")
except NotAllowedError as error:
    print(error)
"""
    read = re.findall(
        r'"(SOUNDLINE_\w+)"', (settings.BASE_DIR / "registry/settings.py").read_text()
    )
    guesses = ("SOUNDLINE_NOW", "SOUNDLINE_CLOCK", "FAKETIME", "SOURCE_DATE_EPOCH", "DEBUG")
    assert not {name for name in read if re.search("NOW|CLOCK|TODAY|INVENT", name)}
    given = {
        **environment(tmp_path),
        **dict.fromkeys(guesses, "2015-03-02T09:30:00Z"),
        "DJANGO_SETTINGS_MODULE": "registry.settings",
    }

    said = manage(given, code=program)

    assert said.stdout.splitlines()[:1] == ["True"], said.stderr
    assert "only the club that is made for a trial" in said.stdout


@pytest.mark.django_db
class TestTheOrderOfEntries:
    def test_a_clock_a_little_behind_takes_the_instant_of_the_entry_before(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with transaction.atomic():
            first = append("one")
        monkeypatch.setattr(NOW, lambda: first.at - timedelta(seconds=40))

        with transaction.atomic():
            second = append("two")

        assert second.at == first.at
        assert verify().is_whole

    def test_a_clock_that_was_set_back_writes_nothing(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with transaction.atomic():
            first = append("one")
        monkeypatch.setattr(NOW, lambda: first.at - timedelta(hours=3))

        with pytest.raises(clock.ClockIsBehindError, match="clock"), transaction.atomic():
            append("two")

        assert LedgerEntry.objects.count() == 1

    def test_whoever_asked_is_told_to_come_again(self) -> None:
        assert passes(clock.ClockIsBehindError())
