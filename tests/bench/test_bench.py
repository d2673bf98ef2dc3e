"""The measurements run and their table says what was measured; how fast anything is, is no test."""

from __future__ import annotations

import json
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from tests.bench import __main__ as runner
from tests.bench.places import ROOT, place
from tests.bench.rounds import Row, Turns, take_turns
from tests.bench.table import END, KEPT, START, is_met, renewed, table, write_into


@pytest.mark.parametrize("name", [*runner.ON_EACH, *runner.ON_ITS_OWN, *runner.ON_NONE])
def test_every_measurement_has_a_module_that_runs(name: str) -> None:
    assert callable(import_module(f"tests.bench.bench_{name}").run)


def test_no_measurement_is_forgotten_by_the_runner() -> None:
    modules = {file.stem.removeprefix("bench_") for file in Path(__file__).parent.glob("bench_*")}

    assert modules == {*runner.ON_EACH, *runner.ON_ITS_OWN, *runner.ON_NONE}


def test_a_small_run_measures_on_a_filled_scratch_database() -> None:
    with place("SQLite", quick=True) as here:
        for name, file in (("fill", "-"), ("bench_standing", here.folder / "rows.json")):
            command = [sys.executable, "-m", "tests.bench.alone", name, str(file)]
            subprocess.run(command, check=True, cwd=ROOT, env=here.environment)
        rows = json.loads((here.folder / "rows.json").read_text(encoding="utf-8"))

    assert [row["goal"] for row in rows] == [">= 100", "0.8 to 1.2"]
    assert all(row["ratio"] > 0 for row in rows)
    assert not here.folder.exists()


def test_the_ways_take_turns_and_each_round_gives_a_ratio() -> None:
    called: list[str] = []

    take_turns([lambda: called.append("a"), lambda: called.append("b")], rounds=2, warm=0)

    assert called == ["b", "a", "a", "b"]
    assert Turns([2.0, 6.0], [1.0, 2.0]).ratios == [2.0, 3.0]


@pytest.mark.parametrize(
    ("goal", "ratio", "met"),
    [
        ("<= 4", 4.0, True),
        ("<= 4", 4.1, False),
        (">= 0.25", 0.25, True),
        (">= 0.25", 0.2, False),
        ("0.8 to 1.2", 1.2, True),
        ("0.8 to 1.2", 0.7, False),
        ("0.8 to 1.2", 1.3, False),
    ],
)
def test_a_goal_is_met_or_not(goal: str, ratio: float, met: bool) -> None:
    assert is_met(goal, ratio) is met


def test_a_missed_goal_is_shown_as_missed() -> None:
    row = {
        "what": "approval",
        "against": "bare SQL",
        "ratio": 5.25,
        "low": 4.0,
        "high": 6.5,
        "goal": "<= 4",
        "database": "SQLite",
        "n": "9 rounds",
        "commit": "abc1234",
        "detail": "5 ms against 1 ms",
    }

    text = table([row], heading="Measured today.")

    line = "| approval | bare SQL | 5.25 (4–6.5) | ≤ 4 | **no** | SQLite | 9 rounds | abc1234 |"
    assert line in text.splitlines()
    assert "- approval (SQLite): 5 ms against 1 ms." in text.splitlines()


def test_a_part_measured_anew_takes_the_place_of_its_old_rows() -> None:
    def row(module: str, database: str, what: str) -> Row:
        return {"module": module, "database": database, "what": what}

    kept = [
        row("page", "SQLite", "old"),
        row("page", "PostgreSQL", "kept"),
        row("gone", "none", ""),
    ]

    rows = renewed(
        kept, [row("append", "SQLite", "new"), row("page", "SQLite", "new")], ["page", "append"]
    )

    assert [(each["module"], each["database"], each["what"]) for each in rows] == [
        ("page", "SQLite", "new"),
        ("append", "SQLite", "new"),
        ("page", "PostgreSQL", "kept"),
    ]


def test_the_page_shows_the_rows_that_are_kept() -> None:
    rows = json.loads(KEPT.read_text(encoding="utf-8"))
    shown = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")

    assert rows
    for each in rows:
        assert f"| {each['what']} | {each['against']} | " in shown


def test_the_table_replaces_the_former_one_and_nothing_else(tmp_path: Path) -> None:
    file = tmp_path / "DEVELOPERS.md"
    file.write_text(f"# For developers\n\n{START}\nold\n{END}\n\nMore.\n", encoding="utf-8")

    write_into(file, "new\n")
    write_into(file, "newer\n")

    assert file.read_text("utf-8") == f"# For developers\n\n{START}\nnewer\n{END}\n\nMore.\n"


def test_a_missing_page_is_begun_with_the_marks(tmp_path: Path) -> None:
    write_into(tmp_path / "DEVELOPERS.md", "new\n")

    assert (tmp_path / "DEVELOPERS.md").read_text("utf-8") == f"{START}\nnew\n{END}\n"
