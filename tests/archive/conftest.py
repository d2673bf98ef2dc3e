"""One archive and one export of a small club, made once for the tests that only read them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction

from registry.archive.leaving import export
from registry.archive.writing import Made, back_up
from tests.archive.small_club import make_busy_club


@dataclass(frozen=True)
class Kept:
    """What was made of the club: a backup, an export, and the secret of a program's token."""

    made: Made
    export: Path
    secret: str


@pytest.fixture(scope="module")
def kept(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Kept:
    folder = tmp_path_factory.mktemp("kept")
    with django_db_blocker.unblock(), transaction.atomic():
        _club, _certificates, secret = make_busy_club()
        made = back_up(folder)
        export(folder / "export")
        transaction.set_rollback(True)
    return Kept(made, folder / "export", secret)
