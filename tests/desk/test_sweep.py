"""The sweeper takes what this registry made and nothing names, and nothing else."""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.utils import timezone

from registry.desk import evidence
from registry.desk.actor import Actor

OWN, PART = "0123456789abcdef" * 2, "fedcba9876543210" * 2 + ".part"
STRANGE = ("soundline.sqlite3", "demo-secret-key", "thesis.odt", "0123456789abcdef", OWN.upper())


@pytest.fixture
def folder(db: None, tmp_path: Path, settings: LazySettings) -> Path:
    """An evidence folder that holds other things too, all of them old."""
    settings.EVIDENCE_ROOT = tmp_path
    for name in (*STRANGE, OWN, PART):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "lost+found").mkdir()
    (tmp_path / ("a" * 32)).mkdir()
    for path in tmp_path.iterdir():
        os.utime(path, (0, 0))
    return tmp_path


def sweep() -> int:
    return evidence.sweep(by=Actor.system())


def test_no_other_file_or_folder_is_touched(folder: Path) -> None:
    sweep()

    left = {path.name for path in folder.iterdir()}
    assert left == {*STRANGE, "lost+found", "a" * 32, evidence.SET_ASIDE}


def test_what_nothing_names_is_set_aside_and_removed_after_a_month(folder: Path) -> None:
    aside = folder / evidence.SET_ASIDE

    assert sweep() == 2
    assert {path.name for path in aside.iterdir()} == {OWN, PART}
    assert sweep() == 0
    assert {path.name for path in aside.iterdir()} == {OWN, PART}

    past = (timezone.now() - timedelta(days=31)).timestamp()
    os.utime(aside / OWN, (past, past))
    sweep()
    assert {path.name for path in aside.iterdir()} == {PART}
