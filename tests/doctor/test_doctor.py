"""Each planted fault is named by its own check, by the command and by the page, with a remedy."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError
from pytest_django import Settings

from registry.doctor import examination
from registry.doctor.examination import all_checks, examine, examine_quickly, needing
from registry.doctor.findings import Check, Finding, Level, Verdict
from registry.models import Upkeep
from tests.doctor.faults import FAULTS, Fault, Place
from tests.factories import Club

pytestmark = pytest.mark.django_db


def ran(*options: str) -> tuple[int, dict[str, Any]]:
    """The exit code of the doctor, and its report."""
    out = StringIO()
    code = 0
    try:
        call_command("doctor", "--json", *options, stdout=out)
    except CommandError as error:
        code = error.returncode
    return code, json.loads(out.getvalue())


def found(report: dict[str, Any]) -> dict[str, Any]:
    return {finding["check"]: finding for finding in report["findings"]}


def test_a_healthy_registry_needs_no_hand(healthy: Club) -> None:
    code, report = ran()

    assert [each for each in report["findings"] if each["level"] == Level.HAND] == []
    assert (code, report["ok"], report["needs_a_hand"]) == (0, True, 0)


def test_there_are_checks_enough_and_each_has_its_own_name() -> None:
    names = [check.name for check in all_checks()]

    assert len(names) >= 25
    assert len(set(names)) == len(names)


def test_every_check_but_the_mere_telling_has_a_planted_fault() -> None:
    planted = {fault.check for fault in FAULTS}

    # One only tells; two are about SQLite alone, and these tests run on PostgreSQL too.
    assert {check.name for check in all_checks()} - planted == {
        "versions",
        "database-version",
        "disk-database",
    }


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: f"{fault.check}-{fault.says}")
def test_a_planted_fault_is_named(
    fault: Fault,
    healthy: Club,
    settings: Settings,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    assert found(ran("--only", fault.check)[1])[fault.check]["level"] != Level.HAND

    fault.plant(Place(healthy, settings, monkeypatch, tmp_path))

    code, report = ran("--only", fault.check)
    finding = found(report)[fault.check]
    assert fault.says in finding["found"]
    assert finding["fix"]
    assert finding["level"] == (Level.ADVICE if fault.is_advice else Level.HAND)
    assert code == (0 if fault.is_advice else 1)


class TestTheCommand:
    def test_it_says_the_remedy_beside_the_fault(self, healthy: Club, settings: Settings) -> None:
        settings.CLUB_NAME = ""
        out = StringIO()

        with pytest.raises(CommandError, match=r"^1 thing needs a hand\.$"):
            call_command("doctor", stdout=out)

        lines = out.getvalue().splitlines()
        assert lines[0] == "Needs a hand now (1)"
        assert "[club-name]: The club has no name." in lines[1]
        assert "How to put it right: Set SOUNDLINE_CLUB_NAME." in lines[2]

    def test_an_unknown_check_is_answered_with_their_names(self) -> None:
        with pytest.raises(CommandError, match=r"no check weather.*ledger-head") as refused:
            call_command("doctor", "--only", "weather")

        assert refused.value.returncode == 2

    def test_a_check_that_breaks_is_a_finding_and_the_others_go_on(
        self, healthy: Club, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def away(folder: object) -> None:
            raise DatabaseError("gone")

        monkeypatch.setattr("shutil.disk_usage", away)

        code, report = ran()

        assert code == 1
        assert found(report)["disk-files"]["found"] == "It could not be looked at: DatabaseError."
        assert len(report["findings"]) == len(all_checks())


class TestSlowChecks:
    def slow(self) -> list[Finding]:
        slow = {check.name for check in all_checks() if check.is_slow}
        return [finding for finding in examine_quickly() if finding.check in slow]

    def test_they_are_not_made_for_a_page(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def made() -> Verdict:
            raise AssertionError("a slow check was made")

        checks = (Check("slow", "Something slow", made, is_slow=True),)
        monkeypatch.setattr(examination, "all_checks", lambda: checks)

        (finding,) = examine_quickly()

        assert (finding.level, finding.found) == (Level.ADVICE, "It has not been looked at yet.")

    def test_the_page_tells_how_they_last_ended_and_when(self, healthy: Club) -> None:
        examine()

        assert all("Looked at 0\xa0minutes ago." in finding.found for finding in self.slow())
        assert needing(self.slow(), Level.HAND) == []

    def test_the_worker_makes_them(self, healthy: Club) -> None:
        call_command("work", "--once")

        names = set(Upkeep.objects.values_list("name", flat=True))
        assert {f"doctor-{check.name}" for check in all_checks() if check.is_slow} <= names
