"""Each unsafe setting or database state is named with its own id."""

from pathlib import Path
from typing import Any

import pytest
from django.core.checks import CheckMessage, run_checks
from django.db import connection
from pytest_django import Settings

from registry import checks
from registry.ledger import triggers


def _ids(found: list[CheckMessage]) -> list[str | None]:
    return [message.id for message in found]


class TestClub:
    def test_the_tests_own_settings_are_fine(self) -> None:
        assert checks.club_is_named(None) == []

    def test_a_club_needs_a_name(self, settings: Settings) -> None:
        settings.CLUB_NAME = "  "

        assert _ids(checks.club_is_named(None)) == ["soundline.E001"]

    @pytest.mark.parametrize(
        "address",
        ["http://registry.example", "registry.example", "https://", "https://club.example/dogs"],
    )
    def test_certificates_need_a_plain_tls_address(self, address: str, settings: Settings) -> None:
        settings.IS_PRODUCTION = True
        settings.SITE_URL = address

        assert _ids(checks.club_is_named(None)) == ["soundline.E002"]

    def test_the_printed_host_must_be_served(self, settings: Settings) -> None:
        settings.IS_PRODUCTION = True
        settings.SITE_URL = "https://registry.example"
        settings.ALLOWED_HOSTS = ["other.example"]

        assert _ids(checks.club_is_named(None)) == ["soundline.E003"]

    @pytest.mark.parametrize("pattern", ["registry.example", ".example", ".registry.example"])
    def test_a_pattern_that_covers_the_host_is_enough(
        self, pattern: str, settings: Settings
    ) -> None:
        settings.IS_PRODUCTION = True
        settings.SITE_URL = "https://registry.example"
        settings.ALLOWED_HOSTS = [pattern]

        assert checks.club_is_named(None) == []


class TestLog:
    def test_the_tests_own_key_is_fine(self) -> None:
        assert checks.log_can_be_signed(None) == []

    @pytest.mark.parametrize("key", ["", "no base64 at all", "AAAA"])
    def test_what_is_no_key_is_named(self, key: str, settings: Settings) -> None:
        settings.LOG_KEY = key

        assert _ids(checks.log_can_be_signed(None)) == ["soundline.E011"]

    def test_a_former_key_must_be_readable(self, settings: Settings) -> None:
        settings.LOG_FORMER_KEYS = ["club.example/log+00000000+AAAA"]

        assert _ids(checks.log_can_be_signed(None)) == ["soundline.E011"]

    @pytest.mark.parametrize("officers", [[], ["one@club.example"], ["one@club.example"] * 2])
    def test_two_people_should_keep_checkpoints(
        self, officers: list[str], settings: Settings
    ) -> None:
        settings.IS_PRODUCTION = True
        settings.LOG_OFFICERS = officers

        assert _ids(checks.log_can_be_signed(None)) == ["soundline.W002"]


class TestIssuer:
    def test_the_tests_own_key_is_fine(self) -> None:
        assert checks.issuer_can_sign(None) == []

    def test_what_is_no_key_is_named(self, settings: Settings) -> None:
        settings.ISSUER_KEY = "AAAA"

        assert _ids(checks.issuer_can_sign(None)) == ["soundline.E012"]

    def test_a_former_key_must_be_readable(self, settings: Settings) -> None:
        settings.ISSUER_FORMER_KEYS = ["z123"]

        assert _ids(checks.issuer_can_sign(None)) == ["soundline.E012"]


class TestTrials:
    def test_a_demo_must_not_answer_for_other_hosts(self, settings: Settings) -> None:
        settings.ALLOWED_HOSTS = ["localhost", "registry.example"]

        assert _ids(checks.trial_stays_at_home(None)) == ["soundline.E004"]

    def test_a_demo_at_home_is_fine(self, settings: Settings) -> None:
        settings.ALLOWED_HOSTS = ["localhost", "127.0.0.1"]

        assert checks.trial_stays_at_home(None) == []


class TestEvidence:
    def test_a_folder_apart_is_fine(self, tmp_path: Path, settings: Settings) -> None:
        settings.EVIDENCE_ROOT = tmp_path / "evidence"

        assert checks.evidence_is_safe(None) == []

    def test_a_folder_that_cannot_be_made_is_named(
        self, tmp_path: Path, settings: Settings
    ) -> None:
        (tmp_path / "file").write_text("")
        settings.EVIDENCE_ROOT = tmp_path / "file" / "evidence"

        assert _ids(checks.evidence_is_safe(None)) == ["soundline.E005"]

    @pytest.mark.parametrize("folder", ["static", "static/evidence", "."])
    def test_a_folder_that_is_served_is_named(
        self, folder: str, tmp_path: Path, settings: Settings
    ) -> None:
        settings.STATIC_ROOT = tmp_path / "static"
        settings.EVIDENCE_ROOT = tmp_path / folder

        assert _ids(checks.evidence_is_safe(None)) == ["soundline.E006"]


@pytest.mark.django_db
class TestDatabase:
    def _found(self) -> list[str | None]:
        return _ids(checks.database_keeps_its_promises(None, databases=["default"]))

    def test_the_database_of_the_tests_is_fine(self) -> None:
        assert self._found() == []

    def test_a_ledger_without_its_triggers_is_named(self) -> None:
        triggers.uninstall(connection)

        assert self._found() == ["soundline.E007"]

    @pytest.mark.parametrize(
        ("question", "answer"),
        [
            ("PRAGMA journal_mode", "delete"),
            ("PRAGMA synchronous", "1"),
            ("PRAGMA foreign_keys", "0"),
            ("PRAGMA recursive_triggers", "0"),
        ],
    )
    def test_a_sqlite_that_may_lose_something_is_named(
        self, question: str, answer: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        real = {
            "SELECT sqlite_version()": "3.40.1",
            "PRAGMA journal_mode": "wal",
            "PRAGMA synchronous": "2",
            "PRAGMA foreign_keys": "1",
            "PRAGMA recursive_triggers": "1",
        }
        answers = real | {question: answer}
        monkeypatch.setattr(checks, "_value", lambda _, asked: answers[asked])

        assert _ids(list(checks._sqlite(_NoMemory()))) == ["soundline.E009"]  # type: ignore[arg-type]

    def test_an_old_sqlite_is_named(self, monkeypatch: pytest.MonkeyPatch) -> None:
        answers = {"SELECT sqlite_version()": "3.34.1", "PRAGMA journal_mode": "wal"}
        answers |= {"PRAGMA synchronous": "2", "PRAGMA foreign_keys": "1"}
        answers |= {"PRAGMA recursive_triggers": "1"}
        monkeypatch.setattr(checks, "_value", lambda _, asked: answers[asked])

        assert _ids(list(checks._sqlite(_NoMemory()))) == ["soundline.E008"]  # type: ignore[arg-type]

    @pytest.mark.parametrize("setting", ["fsync", "synchronous_commit", "full_page_writes"])
    def test_a_postgresql_that_confirms_before_writing_is_named(
        self, setting: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(
            checks, "_value", lambda _, asked: "off" if asked == f"SHOW {setting}" else "on"
        )

        assert _ids(list(checks._postgresql(connection))) == ["soundline.E010"]

    def test_a_missing_cache_table_is_named(self, settings: Settings) -> None:
        settings.CACHES = {
            "default": {
                "BACKEND": "django.core.cache.backends.db.DatabaseCache",
                "LOCATION": "not_there",
            }
        }

        assert self._found() == ["soundline.W001"]

    def test_the_checks_are_registered(self) -> None:
        triggers.uninstall(connection)

        assert "soundline.E007" in _ids(run_checks(databases=["default"]))


class _NoMemory:
    """Stands for a connection to a database in a file."""

    def is_in_memory_db(self) -> bool:
        return False

    def __getattr__(self, name: str) -> Any:
        raise AssertionError(f"the check asked for {name}")
