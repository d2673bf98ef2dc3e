"""What was backed up comes back equal: rows, files, ledger, on one database or across two."""

from __future__ import annotations

import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client

from registry.archive.practice import scratch_environment
from registry.archive.writing import back_up, canonical_part, content_now
from registry.desk.log import publish_checkpoint
from registry.ledger import triggers
from registry.models import Dog, Evidence, LedgerHead
from registry.queries.search import find_dogs
from tests.archive.small_club import empty_the_instance, make_busy_club
from tests.factories import make_accepted, make_club, make_dog

pytestmark = pytest.mark.django_db(transaction=True)


def test_an_emptied_instance_is_put_back_equal_in_every_way(tmp_path: Path) -> None:
    club, certificates, _secret = make_busy_club()
    pages = [f"/C/{each.number}" for each in certificates]
    pages += [f"/dogs/{dog.public_id}/" for dog in Dog.objects.all()]
    before = {page: Client().get(page).content for page in pages}
    made = back_up(tmp_path)
    empty_the_instance()
    assert not Dog.objects.exists()

    said = StringIO()
    call_command("restore", str(made.path), stdout=said)

    assert back_up(tmp_path).manifest.content == made.manifest.content
    assert made.manifest.content in said.getvalue()
    assert {page: Client().get(page).content for page in pages} == before
    assert triggers.missing(connection) == []
    assert [found.name for found in find_dogs("Eclair")] == ["Tarnfold Éclair ‘Ω’"]
    make_accepted(club, make_dog(club))
    publish_checkpoint()
    call_command("verify_ledger", stdout=said)
    call_command("verify_records", stdout=said)


def test_it_crosses_over_to_sqlite_and_back_again(tmp_path: Path) -> None:
    make_busy_club()
    first = back_up(tmp_path / "first")
    scratch = tmp_path / "scratch"

    said = StringIO()
    call_command("restore", str(first.path), "--practice", str(scratch), stdout=said)

    assert f"equal to the original: content {first.manifest.content}" in said.getvalue()
    assert Dog.objects.exists(), "practice has touched the registry itself"
    subprocess.run(
        [sys.executable, "manage.py", "backup", str(tmp_path / "second")],
        cwd=settings.BASE_DIR,
        env=scratch_environment(scratch),
        check=True,
        capture_output=True,
    )
    empty_the_instance()
    (second,) = (tmp_path / "second").iterdir()
    call_command("restore", str(second), stdout=StringIO())
    assert content_now() == first.manifest.content == canonical_part(first.manifest)


def test_an_instance_that_holds_anything_is_left_alone(tmp_path: Path) -> None:
    make_club()
    made = back_up(tmp_path)
    entries = LedgerHead.objects.get().seq

    with pytest.raises(CommandError, match="already holds users"):
        call_command("restore", str(made.path), stdout=StringIO())

    assert LedgerHead.objects.get().seq == entries


def test_an_evidence_file_lost_earlier_is_named_and_the_rest_is_kept(tmp_path: Path) -> None:
    make_busy_club()
    name = Evidence.objects.get().stored_name
    (Path(settings.EVIDENCE_ROOT) / name).unlink()

    said = StringIO()
    call_command("backup", str(tmp_path), stdout=StringIO(), stderr=said)

    assert f"Evidence file {name} is missing" in said.getvalue()
    assert list(tmp_path.glob("*.zip"))
