"""One measurement in a process of its own: ``python -m tests.bench.alone NAME FILE``.

Its rows are written to the file as JSON. The name ``fill`` sets the database up instead: tables,
static files, the club; ``fill_great_breed`` another one with one great breed. Which database, and
which scratch folder, the environment says.
"""

from __future__ import annotations

import importlib
import json
import os
import sys
from pathlib import Path


def main() -> None:
    """Set Django up and run what the arguments name."""
    import django  # noqa: PLC0415 - nothing of the registry may load before the settings are named

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.bench.site")
    django.setup()
    name, file = sys.argv[1:]
    if name == "fill":
        _fill()
        return
    if name == "fill_great_breed":
        importlib.import_module("tests.bench.great_breed").fill()
        return
    rows = importlib.import_module(f"tests.bench.{name}").run()
    Path(file).write_text(json.dumps(rows), encoding="utf-8")


def _fill() -> None:
    from django.core.management import call_command  # noqa: PLC0415 - after the setting up

    from tests.bench.club import fill  # noqa: PLC0415

    call_command("migrate", interactive=False, verbosity=0)
    call_command("collectstatic", interactive=False, verbosity=0)
    fill()


if __name__ == "__main__":
    main()
