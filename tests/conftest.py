"""What all tests share: the ledger's triggers around a flush, clean caches, loud gaps.

Fixtures of one room's tests live beside those tests, and the browser's in
`tests/browser.py`.
"""

import os
import socket
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection, connections
from django.test import TransactionTestCase
from hypothesis import HealthCheck, settings

from registry.ledger import triggers
from registry.queries.breeding import run_table
from registry.web.buyer.budget import BUDGET, CHIP_BUDGET
from tests import reach

pytest_plugins = ["tests.browser"]

settings.register_profile(
    "dev", max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile(
    "ci", max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "dev"))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what needs a browser; leave out, with its reason, what this machine cannot run."""
    has_browser = reach.browser() is not None
    for item in items:
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.requires_browser)
        if item.get_closest_marker("requires_browser") and not has_browser:
            if reach.is_required("browser"):
                raise pytest.UsageError(reach.missing("browser"))
            item.add_marker(pytest.mark.skip(reason=reach.missing("browser")))
        if item.get_closest_marker("requires_postgres") and connection.vendor != "postgresql":
            item.add_marker(pytest.mark.skip(reason="needs PostgreSQL: this run is on SQLite"))


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Say at the very end how many tests did not run and why."""
    reasons: dict[str, int] = {}
    for report in terminalreporter.stats.get("skipped", []):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        reasons[reason] = reasons.get(reason, 0) + 1
    for reason, count in sorted(reasons.items()):
        terminalreporter.write_line(f"!!! {count} not run here: {reason}", yellow=True, bold=True)


@pytest.fixture(autouse=True, scope="session")
def _flush_past_the_ledgers_triggers() -> Iterator[None]:
    """Let tests that commit empty the tables afterwards, which the triggers rightly refuse.

    The flush emits post_migrate, and that puts the triggers back.
    """
    teardown = TransactionTestCase._fixture_teardown  # type: ignore[attr-defined]

    def without_triggers(self: TransactionTestCase) -> None:
        for alias in self._databases_names(include_mirrors=False):  # type: ignore[attr-defined]
            triggers.uninstall(connections[alias])
        teardown(self)
        for alias in self._databases_names(include_mirrors=False):  # type: ignore[attr-defined]
            triggers.install(connections[alias])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", without_triggers)
        yield


@pytest.fixture(autouse=True, scope="session")
def _nobody_outside_is_called() -> Iterator[None]:
    """Refuse every connection that leaves this machine: nothing here may need one."""
    connect = socket.socket.connect

    def connect_at_home(self: socket.socket, address: Any) -> None:
        if self.family != socket.AF_UNIX and address[0] not in {"127.0.0.1", "::1", "localhost"}:
            raise AssertionError(f"a test called {address[0]}")
        connect(self, address)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket.socket, "connect", connect_at_home)
        yield


@pytest.fixture(autouse=True)
def _empty_cache() -> None:
    """Start every test with nothing counted and nothing remembered."""
    cache.clear()
    BUDGET.clear()
    CHIP_BUDGET.clear()
    # A rolled back test's keys come again with the next one's runs.
    run_table.cache_clear()
