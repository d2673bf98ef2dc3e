"""An upgrade changes the tables whole or leaves them as they were, and says which."""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from sqlite3 import connect

import pytest
from django.apps import apps
from django.db.migrations.loader import MigrationLoader

from registry.archive.schema import todays_schema
from tests.archive.older import BACKUPS
from tests.reliability.numbers import times
from tests.upgrade.scene import Scene, old_registry

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = times(soak=10, short=1)
PLANTED = "tests.upgrade.planted_settings"
# What it says just before each of its steps.
_MOMENTS = (
    "This is version",
    "1. A backup is made in",
    "The backup is made and whole",
    "The tables are changed",
    "The ledger is whole",
    "Every result",
)


@pytest.fixture
def old(tmp_path: Path) -> Iterator[Scene]:
    with old_registry(tmp_path / "var", "0009_erased_owners") as scene:
        yield scene


def verified(scene: Scene) -> str:
    said = ""
    for command in ("verify_ledger", "verify_records"):
        code, words = scene.run("manage.py", command)
        assert code == 0, words
        said += words
    return said


@pytest.mark.parametrize("name", BACKUPS)
def test_it_backs_up_changes_the_tables_and_verifies(name: str, tmp_path: Path) -> None:
    with old_registry(tmp_path / "var", name) as old:
        code, said = old.upgrade("--yes")

        assert code == 0, said
        newest = todays_schema().migrations["registry"]
        assert f"The tables are as of {name}; it needs them as of {newest}" in said
        assert "The ledger is whole" in said
        assert "Start the site and the worker." in said
        assert old.state().split()[0] == newest
        assert [path.suffix for path in old.backups] == [".zip"]
        assert "The ledger is whole" in verified(old)


def test_the_backup_it_made_is_the_registry_before_it(old: Scene, tmp_path: Path) -> None:
    before = old.state().split()[1]

    old.upgrade("--yes")

    (backup,) = old.backups
    code, said = old.run("manage.py", "restore", str(backup), "--check")
    assert code == 0, said
    code, said = old.run(
        "manage.py", "restore", str(backup), "--practice", str(tmp_path / "practice")
    )
    assert code == 0, said
    assert old.run("-c", _CONTENT_OF, str(backup))[1].strip() == before


_CONTENT_OF = """
import sys; from pathlib import Path
import django; django.setup()
from registry.archive.checking import check, opened
print(check(opened(Path(sys.argv[1]))).content)
"""


def test_it_asks_first_and_says_what_it_will_do(old: Scene) -> None:
    before = old.state()

    code, said = old.upgrade()

    assert code == 0
    assert "Stop the site and the worker first" in said
    assert "about 1 min" in said
    assert said.rstrip().endswith("Nothing was done.")
    assert (old.state(), old.backups) == (before, [])


def test_only_to_look_changes_nothing(old: Scene) -> None:
    before = old.state()

    code, said = old.upgrade("--check")

    assert code == 0
    assert "registry.0010_upkeep, registry.0011_second_looks" in said
    assert (old.state(), old.backups) == (before, [])


def test_a_second_one_has_nothing_to_do(old: Scene) -> None:
    old.upgrade("--yes")

    code, said = old.upgrade("--yes")

    assert (code, len(old.backups)) == (0, 1)
    assert "there is nothing to do" in said


def test_a_trigger_that_was_taken_away_is_put_back(old: Scene) -> None:
    old.upgrade("--yes")
    old.run("-c", _NO_TRIGGER)
    assert "E007" in old.run("manage.py", "check", "--database", "default")[1]

    old.upgrade("--yes")

    assert "E007" not in old.run("manage.py", "check", "--database", "default")[1]


_NO_TRIGGER = """
import django; django.setup()
from django.db import connection
on = " ON registry_ledgerentry" if connection.vendor == "postgresql" else ""
connection.cursor().execute(f"DROP TRIGGER ledger_entry_no_update{on}")
"""


class TestAPlantedFault:
    @pytest.mark.parametrize(
        ("fault", "words"),
        [
            ("fail", "the planted change cannot be made"),
            ("edit", "The registry does not say what its ledger says"),
        ],
    )
    def test_everything_is_taken_back_and_it_can_be_run_again(
        self, old: Scene, fault: str, words: str
    ) -> None:
        before = old.state()

        code, said = old.upgrade("--yes", DJANGO_SETTINGS_MODULE=PLANTED, PLANTED=fault)

        assert code == 1
        assert f"The upgrade failed: {words}" in said
        assert "Everything was taken back: the registry is as it was, equal to the backup" in said
        assert old.state() == before
        assert old.upgrade("--yes")[0] == 0
        verified(old)

    def test_a_kill_among_the_changes_leaves_all_as_it_was(self, old: Scene) -> None:
        before = old.state()

        code, _said = old.upgrade("--yes", DJANGO_SETTINGS_MODULE=PLANTED, PLANTED="kill")

        assert code == -9
        assert old.state() == before
        assert old.upgrade("--yes")[0] == 0
        verified(old)


def is_killed(old: Scene, moment: str) -> bool:
    """Kill an upgrade a moment after it says `moment`; whether it said it."""
    with old.start("manage.py", "upgrade", "--yes", PYTHONUNBUFFERED="1") as process:
        assert process.stdout is not None
        for line in process.stdout:
            if line.startswith(moment):
                time.sleep(random.uniform(0, 0.05))
                process.kill()
                return True
    return False


@pytest.mark.parametrize("moment", _MOMENTS)
def test_killed_at_any_moment_it_is_before_or_after_and_can_be_run_again(
    old: Scene, moment: str
) -> None:
    before = old.state()
    newest = todays_schema().migrations["registry"]

    for _ in range(ROUNDS):
        assert is_killed(old, moment)
        state = old.state()
        if state.startswith(newest):
            # The last of the steps may be done before the kill arrives.
            break
        assert state == before

    code, said = old.upgrade("--yes")
    assert code == 0, said
    assert old.state().startswith(newest)
    verified(old)


def test_a_database_of_a_newer_version_is_refused(old: Scene) -> None:
    old.run("-c", _FROM_THE_FUTURE)
    before = len(old.backups)

    code, said = old.upgrade("--yes")

    assert code == 1
    assert "0099_later, which this version does not know. Use that version" in said
    assert len(old.backups) == before


_FROM_THE_FUTURE = """
import django; django.setup()
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
MigrationRecorder(connection).record_applied("registry", "0099_later")
"""


def test_a_new_database_gets_its_tables_and_no_backup(tmp_path: Path, old: Scene) -> None:
    variables = {key: value for key, value in old.variables.items() if key != "DATABASE_URL"}
    new = Scene(tmp_path / "new", {**variables, "SOUNDLINE_VAR": str(tmp_path / "new")})

    code, said = new.upgrade("--yes")

    assert (code, new.backups) == (0, []), said
    assert "its tables are made" in said
    assert new.state().startswith(todays_schema().migrations["registry"])


def test_a_look_at_a_new_database_makes_nothing(tmp_path: Path, old: Scene) -> None:
    variables = {key: value for key, value in old.variables.items() if key != "DATABASE_URL"}
    new = Scene(tmp_path / "new", {**variables, "SOUNDLINE_VAR": str(tmp_path / "new")})

    code, said = new.upgrade("--check")

    assert code == 0, said
    assert "its tables would be made" in said
    with closing(connect(tmp_path / "new" / "soundline.sqlite3")) as database:
        assert database.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,)


def test_every_change_can_be_taken_back_by_the_database() -> None:
    nodes = MigrationLoader(None).graph.nodes
    installed = {config.label for config in apps.get_app_configs()}

    assert [key for key, each in nodes.items() if key[0] in installed and not each.atomic] == []
