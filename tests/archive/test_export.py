"""What is taken along can be read without the program, and comes back to the same hash."""

from __future__ import annotations

import base64
import csv
import hashlib
import json
from io import StringIO
from pathlib import Path

import jsonschema
import pytest
from django.core.management import CommandError, call_command

from registry.archive.leaving import export
from registry.ledger import tree
from registry.ledger.checkpoints import Checkpoint, VerifierKey, open_note
from tests.archive.conftest import Kept
from tests.archive.small_club import empty_the_instance, make_busy_club


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.django_db(transaction=True)
def test_an_export_that_is_imported_exports_to_the_same_hash(tmp_path: Path) -> None:
    make_busy_club()
    first = export(tmp_path / "first")
    empty_the_instance()

    call_command("import_export", str(tmp_path / "first"), stdout=StringIO())

    second = export(tmp_path / "second")
    assert second.content == first.content
    told = [
        json.loads((tmp_path / name / "manifest.json").read_text()) for name in ("first", "second")
    ]
    assert told[0]["content_sha256"] == told[1]["content_sha256"] == first.content


@pytest.mark.django_db
def test_a_folder_that_is_there_is_left_alone(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="is there already"):
        call_command("export", str(tmp_path))


class TestTables:
    def test_the_dogs_have_headers_people_understand(self, kept: Kept) -> None:
        dogs = rows(kept.export / "tables/dogs.csv")

        eclair = next(dog for dog in dogs if dog["Registered name"] == "Tarnfold Éclair ‘Ω’")
        son = next(dog for dog in dogs if dog["Sire"] == eclair["Dog"])
        assert (eclair["Sex"], eclair["Born on"], son["Sire's name"]) == (
            "M",
            "2019-03-01",
            "Tarnfold Éclair ‘Ω’",
        )

    def test_a_cell_that_begins_like_a_formula_is_harmless(self, kept: Kept) -> None:
        examiners = {row["Examiner"] for row in rows(kept.export / "tables/examinations.csv")}
        told = json.loads((kept.export / "tables/examinations.json").read_text("utf-8"))

        assert "'=1+1" in examiners
        assert "=1+1" in {row["Examiner"] for row in told}

    def test_values_are_in_the_traits_words(self, kept: Kept) -> None:
        readings = rows(kept.export / "tables/readings.csv")

        assert {(row["Side"], row["Value"]) for row in readings} == {
            ("left", "0.31"),
            ("right", "0.35"),
        }

    def test_the_files_lie_where_the_table_says(self, kept: Kept) -> None:
        (file,) = rows(kept.export / "tables/files.csv")

        stored = (kept.export / "evidence" / file["Stored name"]).read_bytes()
        assert hashlib.sha256(stored).hexdigest() == file["SHA-256"]
        assert file["Name as sent"] == "Juno & Éclair.pdf"


def test_every_file_is_as_the_schema_says(kept: Kept) -> None:
    schema = json.loads((kept.export / "schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)

    for name, part in schema["$defs"].items():
        text = (kept.export / name).read_text("utf-8")
        validator = jsonschema.Draft202012Validator(part)
        values = (
            [json.loads(text)] if name.endswith(".json") else map(json.loads, text.splitlines())
        )
        for value in values:
            validator.validate(value)


class TestLedger:
    def test_the_chain_can_be_followed_as_the_readme_says(self, kept: Kept) -> None:
        before, told = "0" * 64, (kept.export / "ledger/entries.jsonl").read_text("utf-8")

        for line in told.splitlines():
            entry = json.loads(line)
            assert entry["prev_hash"] == before
            own = hashlib.sha256(bytes.fromhex(before) + entry["body"].encode()).hexdigest()
            assert entry["hash"] == own
            before = own

    def test_its_proofs_hold_by_the_checkpoints_alone(self, kept: Kept) -> None:
        ledger = kept.export / "ledger"
        keys = [
            VerifierKey.parse(each) for each in (ledger / "verifier-keys.txt").read_text().split()
        ]
        stated = {
            found.size: found.root
            for path in (ledger / "checkpoints").iterdir()
            for found in [Checkpoint.parse(open_note(path.read_text("utf-8"), keys))]
        }
        assert len(stated) == 2

        grown = [
            json.loads(line) for line in (ledger / "consistency.jsonl").read_text().splitlines()
        ]
        inside = [
            json.loads(line) for line in (ledger / "inclusion.jsonl").read_text().splitlines()
        ]

        assert len(grown) == 1
        for proof in grown:
            path = [base64.b64decode(node) for node in proof["path"]]
            old, size = proof["old_size"], proof["size"]
            assert tree.is_continued(old, stated[old], size, stated[size], path)
        assert len(inside) == 3
        for proof in inside:
            path = [base64.b64decode(node) for node in proof["path"]]
            leaf, size = base64.b64decode(proof["leaf"]), proof["size"]
            assert tree.is_included(leaf, proof["entry"] - 1, size, path, stated[size])
