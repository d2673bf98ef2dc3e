"""The models and the migrations say the same."""

from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from registry.ledger import triggers


@pytest.mark.django_db
def test_no_model_waits_for_a_migration() -> None:
    out = StringIO()

    call_command("makemigrations", "--check", "--dry-run", stdout=out)

    assert "No changes detected" in out.getvalue()


@pytest.mark.django_db
def test_there_is_one_line_of_migrations() -> None:
    leaves = MigrationLoader(connection).graph.leaf_nodes("registry")

    assert len(leaves) == 1


@pytest.mark.django_db
def test_a_migrated_database_has_the_ledgers_triggers() -> None:
    assert triggers.missing(connection) == []


@pytest.mark.django_db(transaction=True)
class TestAfterAFlush:
    """Two tests that commit, so that the second meets what the first one's flush left."""

    @pytest.mark.parametrize("turn", [1, 2])
    def test_the_triggers_are_there_again(self, turn: int) -> None:
        assert triggers.missing(connection) == []
