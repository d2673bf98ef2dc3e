"""The arrows between the rooms, and that the contract which guards them bites."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
_LINT = "import sys; from importlinter.cli import lint_imports_command; lint_imports_command()"


def _lint(folder: Path) -> subprocess.CompletedProcess[str]:
    """Run import-linter in a folder that holds a pyproject.toml and the packages."""
    return subprocess.run(
        [sys.executable, "-c", _LINT, "--no-cache"],
        cwd=folder,
        env={"PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )


def _seeded(folder: Path, module: str, line: str) -> None:
    """Copy the rooms as empty packages, with one import line in one module."""
    (folder / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    for package in ("registry", "api"):
        for source in (ROOT / package).rglob("*.py"):
            target = folder / source.relative_to(ROOT)
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text("", encoding="utf-8")
    (folder / module).write_text(f"{line}\n", encoding="utf-8")


def test_the_arrows_point_down_only() -> None:
    done = _lint(ROOT)

    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("registry/science/__init__.py", "import registry.models"),
        ("registry/models/__init__.py", "import registry.ledger"),
        ("registry/ledger/__init__.py", "import registry.queries"),
        ("registry/queries/__init__.py", "import registry.desk"),
        ("registry/desk/__init__.py", "import registry.web"),
        ("registry/web/__init__.py", "import api"),
        ("api/__init__.py", "import registry.web"),
        ("registry/charts/__init__.py", "import registry.models"),
        ("registry/paper/__init__.py", "import registry.queries"),
    ],
)
def test_an_arrow_that_points_up_is_found(module: str, line: str, tmp_path: Path) -> None:
    _seeded(tmp_path, module, line)

    done = _lint(tmp_path)

    assert done.returncode != 0
    assert line.removeprefix("import ") in done.stdout
