"""Run the measurements and write their table: ``make bench``, or ``python -m tests.bench``.

``--quick`` runs everything on little data, to see that it runs; its numbers mean nothing, and its
table is only printed. ``--only page,verify`` and ``--database SQLite`` measure a part anew: its
rows take the place of the old ones in DEVELOPERS.md, and each row names the commit it was measured
at.
"""

from __future__ import annotations

import argparse
import json
import platform
import subprocess
import sys
import time

from tests import reach
from tests.bench.places import ROOT, Place, place
from tests.bench.rounds import Row
from tests.bench.table import KEPT, renewed, table, write_into

ON_EACH = ("page", "standing", "search", "rebuild", "approval")
ON_NONE = ("paper", "inbreeding", "kinship", "blup")
ON_ITS_OWN = ("append", "verify", "run")
"""Each on a database of its own, without the club."""
DATABASES = ("SQLite", "PostgreSQL")


def main() -> int:
    """Run what the arguments choose; 1 when a part of it could not be run."""
    parser = argparse.ArgumentParser(prog="make bench", description="Measure Soundline.")
    parser.add_argument("--quick", action="store_true", help="little data: only see that it runs")
    parser.add_argument("--only", default="", help="names, separated by commas")
    parser.add_argument("--database", choices=DATABASES, help="one of the two")
    chosen = parser.parse_args()
    names = chosen.only.split(",") if chosen.only else [*ON_EACH, *ON_ITS_OWN, *ON_NONE]
    began, rows, left_out = time.monotonic(), list[Row](), list[str]()
    for database in [chosen.database] if chosen.database else DATABASES:
        if database == "PostgreSQL" and reach.postgres() is None:
            left_out.append(reach.missing("postgres"))
            continue
        with place(database, quick=chosen.quick) as here:
            each = [name for name in ON_EACH if name in names]
            rows += _measured(here, database, each, left_out, is_filled=bool(each))
        for name in ON_ITS_OWN:
            with place(database, quick=chosen.quick) as here:
                wanted = [name] if name in names else []
                rows += _measured(here, database, wanted, left_out)
    with place("SQLite", quick=chosen.quick) as here:
        rows += _measured(here, "none", [name for name in ON_NONE if name in names], left_out)
    for line in left_out:
        _say(line)
    minutes = (time.monotonic() - began) / 60
    if chosen.quick:
        _say(table(rows, heading=_heading()))
    else:
        kept = json.loads(KEPT.read_text(encoding="utf-8"))
        rows = renewed(kept, rows, [*ON_EACH, *ON_ITS_OWN, *ON_NONE])
        KEPT.write_text(json.dumps(rows, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        write_into(ROOT / "DEVELOPERS.md", table(rows, heading=_heading()))
        _say(f"The table in DEVELOPERS.md is written, after {minutes:.0f} minutes.")
    return 1 if left_out else 0


def _measured(
    here: Place, database: str, names: list[str], left_out: list[str], *, is_filled: bool = False
) -> list[Row]:
    """The rows of the named measurements; one that breaks is named and the others go on."""
    rows: list[Row] = []
    if is_filled:
        _say(f"{database}: filling the tables")
        _alone(here, "fill")
    for name in names:
        _say(f"{database}: {name}")
        try:
            found = [
                {"module": name, **row, "database": database, "commit": _commit()}
                for row in _alone(here, f"bench_{name}")
            ]
        except subprocess.CalledProcessError:
            left_out.append(f"NOT MEASURED: {name} on {database}: it broke, see above")
            continue
        for row in found:
            _say(f"  {row['what']}: {row['ratio']:.3g}, goal {row['goal']} ({row['detail']})")
        rows += found
    return rows


def _alone(here: Place, name: str) -> list[Row]:
    """Run one module in a fresh process and return its rows."""
    file = here.folder / "rows.json"
    file.write_text("[]", encoding="utf-8")
    command = [sys.executable, "-m", "tests.bench.alone", name, str(file)]
    subprocess.run(command, check=True, cwd=ROOT, env=here.environment)
    rows: list[Row] = json.loads(file.read_text(encoding="utf-8"))
    return rows


def _heading() -> str:
    return (
        f"Measured on {platform.machine()} with Python {platform.python_version()}, each row at the"
        " commit it names. Each thing and its reference took turns; a ratio is of one round, and"
        " the median of all rounds is judged."
    )


def _commit() -> str:
    """The commit measured, and whether the registry had changes beside it."""
    changed = " with changes" if _said_by("git", "status", "--porcelain", "registry") else ""
    return _said_by("git", "rev-parse", "--short", "HEAD") + changed


def _said_by(*command: str) -> str:
    return subprocess.run(
        command, check=True, capture_output=True, text=True, cwd=ROOT
    ).stdout.strip()


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
