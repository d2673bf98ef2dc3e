"""A backup of a former version is put back and brought up to date; a newer version's is not."""

from __future__ import annotations

import json
import zipfile
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client

from registry.archive.checking import opened
from registry.archive.containers import lines_of
from registry.archive.schema import todays_schema
from registry.archive.writing import back_up, content_now
from registry.ledger import triggers
from registry.models import Certificate, Dog, Evidence, LedgerEntry
from registry.queries.search import find_dogs
from tests.archive.damages import read_zip, refit, write_zip
from tests.archive.older import BACKUPS, EXPORT, FOLDER, LOG_KEY
from tests.archive.small_club import empty_the_instance

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _empty_and_with_the_old_key(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.LOG_KEY = LOG_KEY
    monkeypatch.setenv("SOUNDLINE_LOG_KEY", LOG_KEY)
    empty_the_instance()


def rows(path: Path, name: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in lines_of(opened(path).open(f"rows/{name}.jsonl"))]


@pytest.mark.parametrize("name", BACKUPS)
class TestABackupOfAFormerVersion:
    def test_it_comes_back_up_to_date_with_nothing_lost(self, name: str) -> None:
        archive = FOLDER / f"{name}.zip"
        said = StringIO()

        call_command("restore", str(archive), stdout=said)

        newest = todays_schema().migrations["registry"]
        assert f"Its tables are as of {name}: bringing them up to {newest}" in said.getvalue()
        assert "The ledger is whole" in said.getvalue()
        assert "is what the ledger says." in said.getvalue()
        assert list(LedgerEntry.objects.order_by("seq").values_list("hash", flat=True)) == [
            row["hash"] for row in rows(archive, "ledgerentry")
        ]
        assert set(Dog.objects.values_list("public_id", "name")) == {
            (row["public_id"], row["name"]) for row in rows(archive, "dog")
        }
        assert triggers.missing(connection) == []

    def test_its_pages_answer_and_it_can_be_backed_up_again(
        self, name: str, tmp_path: Path
    ) -> None:
        call_command("restore", str(FOLDER / f"{name}.zip"), stdout=StringIO())

        pages = [Client().get(f"/C/{each.number}") for each in Certificate.objects.all()]
        again = back_up(tmp_path)
        empty_the_instance()
        call_command("restore", str(again.path), stdout=StringIO())

        assert len(pages) == 3
        assert {page.status_code for page in pages} == {200}
        assert [found.name for found in find_dogs("Eclair")] == ["Tarnfold Éclair ‘Ω’"]
        assert Evidence.objects.count() == 1
        assert content_now() == again.manifest.content

    def test_damage_in_it_is_named_by_its_own_tables(self, name: str, tmp_path: Path) -> None:
        files = read_zip(FOLDER / f"{name}.zip")
        files["rows/dog.jsonl"] = files["rows/dog.jsonl"].replace(b'"sex":"M"', b'"sex":7', 1)
        refit(files)

        with pytest.raises(CommandError, match=r"rows/dog\.jsonl: line \d+: sex cannot be read"):
            call_command("restore", str(write_zip(tmp_path / "a.zip", files)), stdout=StringIO())

        assert not Dog.objects.exists()


def test_an_export_of_a_former_version_is_taken_in(tmp_path: Path) -> None:
    with zipfile.ZipFile(FOLDER / f"{EXPORT}.zip") as archive:
        archive.extractall(tmp_path)
    said = StringIO()

    call_command("import_export", str(tmp_path), stdout=said)

    assert "All is back, brought up to date" in said.getvalue()
    assert Dog.objects.count() == len(rows(tmp_path, "dog"))


def test_practice_takes_a_former_version_too(tmp_path: Path) -> None:
    said = StringIO()

    archive = FOLDER / f"{BACKUPS[0]}.zip"
    call_command("restore", str(archive), "--practice", str(tmp_path), stdout=said)

    assert "All is back, brought up to date" in said.getvalue()
    assert not Dog.objects.exists(), "practice has touched the registry itself"


def test_a_table_missing_from_a_former_version_is_named(tmp_path: Path) -> None:
    files = read_zip(FOLDER / "0011_second_looks.zip")
    del files["rows/secondlook.jsonl"]
    refit(files)

    with pytest.raises(CommandError, match=r"rows/secondlook\.jsonl: it is missing"):
        call_command("restore", str(write_zip(tmp_path / "gap.zip", files)), stdout=StringIO())


def test_a_table_that_came_later_is_no_part_of_a_former_version(tmp_path: Path) -> None:
    files = read_zip(FOLDER / "0009_erased_owners.zip")
    files["rows/secondlook.jsonl"] = b""
    member = {"name": "rows/secondlook.jsonl", "rows": 0, "bytes": 0, "sha256": ""}
    refit(files, lambda told: told["members"].append(member))
    refit(files)

    with pytest.raises(CommandError, match=r"rows/secondlook\.jsonl: there was no such table"):
        call_command("restore", str(write_zip(tmp_path / "more.zip", files)), stdout=StringIO())


@pytest.mark.parametrize("key", ["migration", "migrations"])
def test_a_newer_version_is_named_and_refused(tmp_path: Path, key: str) -> None:
    files = read_zip(FOLDER / "0011_second_looks.zip")
    value = "0099_later" if key == "migration" else {"registry": "0099_later"}
    refit(files, lambda told: told.update({key: value}, program_version="7.2.0"))

    with pytest.raises(CommandError, match=r"version 7\.2\.0, which is newer.*0099_later") as said:
        call_command("restore", str(write_zip(tmp_path / "newer.zip", files)), stdout=StringIO())

    assert "Install program version 7.2.0 or later." in str(said.value)
    assert not Dog.objects.exists()


def test_what_cannot_be_migrated_is_not_put_back_at_all(tmp_path: Path) -> None:
    files = read_zip(FOLDER / "0006_status_places.zip")
    # Two dogs of one public id: no table of any version takes them.
    first, second, rest = files["rows/dog.jsonl"].split(b"\n", 2)
    twin = json.loads(second) | {"public_id": json.loads(first)["public_id"]}
    files["rows/dog.jsonl"] = b"\n".join([first, json.dumps(twin).encode(), rest])
    refit(files)

    with pytest.raises(CommandError, match="could not be brought up to date") as said:
        call_command("restore", str(write_zip(tmp_path / "twins.zip", files)), stdout=StringIO())

    assert "rows/dog.jsonl: the database will not take it" in str(said.value)
    assert not Dog.objects.exists()


def test_only_a_new_database_is_used_to_bring_an_archive_up_to_date(tmp_path: Path) -> None:
    archive = FOLDER / f"{BACKUPS[0]}.zip"

    with pytest.raises(CommandError, match="in a new database only"):
        call_command("restore", str(archive), "--renew", str(tmp_path), stdout=StringIO())
