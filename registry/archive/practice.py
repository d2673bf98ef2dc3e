"""Put an archive back for practice: into a scratch SQLite file and folder, by a process of its own
that knows this registry's settings and touches nothing of it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from django.conf import settings

_LONGEST_SECONDS = 6 * 60 * 60
_ELSEWHERE = ("DATABASE_URL", "SOUNDLINE_EVIDENCE_ROOT")


def scratch_environment(folder: Path) -> dict[str, str]:
    """The variables of a process whose registry lies in the folder, with this one's keys."""
    variables = {
        name: value
        for name, value in os.environ.items()
        if name.removesuffix("_FILE") not in _ELSEWHERE
    }
    return variables | {
        "DATABASE_URL": f"sqlite:///{folder / 'practice.sqlite3'}",
        "SOUNDLINE_EVIDENCE_ROOT": str(folder / "evidence"),
        "DJANGO_SETTINGS_MODULE": "registry.settings",
    }


def put_back_for_practice(archive: Path, folder: Path) -> tuple[bool, str]:
    """Restore into the folder and verify there; whether it went well, and what was said."""
    folder.mkdir(parents=True, exist_ok=True)
    manage = Path(settings.BASE_DIR) / "manage.py"
    # Our own program with a path as its only argument.
    done = subprocess.run(  # noqa: S603
        [sys.executable, str(manage), "restore", str(archive.resolve())],
        env=scratch_environment(folder.resolve()),
        capture_output=True,
        text=True,
        timeout=_LONGEST_SECONDS,
        check=False,
    )
    return done.returncode == 0, done.stdout + done.stderr
