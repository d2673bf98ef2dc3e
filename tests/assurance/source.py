"""The project's own source as syntax trees, for tests that say what must not be in it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@cache
def modules() -> dict[str, ast.Module]:
    """Each module that runs on a site, by its path from the root."""
    files = sorted(file for room in ("registry", "api") for file in (ROOT / room).rglob("*.py"))
    return {
        str(file.relative_to(ROOT)): ast.parse(file.read_text(encoding="utf-8")) for file in files
    }


def imports() -> Iterator[tuple[str, str]]:
    """Every import as (module's path, what it imports in full)."""
    for name, tree in modules().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                yield from ((name, each.name) for each in node.names)
            elif isinstance(node, ast.ImportFrom):
                yield from ((name, f"{node.module}.{each.name}") for each in node.names)


def calls() -> Iterator[tuple[str, str, ast.Call]]:
    """Every call as (module's path, the called thing as written, the call)."""
    for name, tree in modules().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call):
                yield name, ast.unparse(node.func), node


def at(name: str, node: ast.expr) -> str:
    """Where a finding lies."""
    return f"{name}:{node.lineno} {ast.unparse(node)[:80]}"
