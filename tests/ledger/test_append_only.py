"""The ledger refuses every change of what it holds, whoever asks the database."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from registry.ledger import Actor, Change, append, triggers
from registry.models import LedgerEntry, LedgerHead, LedgerText

pytestmark = pytest.mark.django_db

ENTRY_COLUMNS = "seq, at, action, subject, dog, actor, body, prev_hash, hash"


@pytest.fixture(autouse=True)
def entries() -> None:
    with transaction.atomic():
        for number in range(3):
            append(
                by=Actor.system(),
                action="trial.made",
                subject=f"trial:{number}",
                changes={"state": Change(None, "made")},
                reason="because",
            )


def refuse(deed: Callable[[], object]) -> None:
    """The deed fails in the database, and every entry is as it was."""
    before = list(LedgerEntry.objects.values())
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        deed()
    assert list(LedgerEntry.objects.values()) == before


def execute(sql: str) -> Callable[[], object]:
    def run() -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql)

    return run


def test_it_refuses_an_update_through_the_orm() -> None:
    refuse(lambda: LedgerEntry.objects.filter(seq=1).update(action="other"))


def test_it_refuses_saving_an_entry_again() -> None:
    entry = LedgerEntry.objects.get(seq=2)
    entry.body = "{}"

    refuse(entry.save)


def test_it_refuses_deleting_through_the_orm() -> None:
    refuse(lambda: LedgerEntry.objects.filter(seq=3)._raw_delete("default"))


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE registry_ledgerentry SET hash = 'x' WHERE seq = 1",
        "DELETE FROM registry_ledgerentry WHERE seq = 3",
        "DELETE FROM registry_ledgerhead",
        "DELETE FROM registry_ledgertext",
        "UPDATE registry_ledgertext SET text = 'a kinder reason'",
        "UPDATE registry_ledgertext SET text = ''",
    ],
)
def test_it_refuses_raw_sql(sql: str) -> None:
    refuse(execute(sql))


@pytest.mark.skipif(connection.vendor != "sqlite", reason="SQLite's own statement")
@pytest.mark.parametrize("recursive_triggers", ["ON", "OFF"])
def test_it_refuses_insert_or_replace_whatever_the_connection_is_set_to(
    recursive_triggers: str,
) -> None:
    sql = (
        f"INSERT OR REPLACE INTO registry_ledgerentry ({ENTRY_COLUMNS})"
        " SELECT seq, at, 'forged', subject, dog, actor, body, prev_hash, hash"
        " FROM registry_ledgerentry WHERE seq = 2"
    )
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA recursive_triggers={recursive_triggers}")
    try:
        refuse(execute(sql))
    finally:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA recursive_triggers=ON")


@pytest.mark.requires_postgres
@pytest.mark.parametrize(
    "sql",
    [
        "TRUNCATE registry_ledgerentry CASCADE",
        "TRUNCATE registry_ledgertext",
        (
            "INSERT INTO registry_ledgerentry SELECT * FROM registry_ledgerentry WHERE seq = 2"
            " ON CONFLICT (seq) DO UPDATE SET action = 'forged'"
        ),
    ],
)
def test_it_refuses_postgresqls_own_ways(sql: str) -> None:
    # Foreign keys still to be checked would stop a TRUNCATE before the trigger is asked.
    execute("SET CONSTRAINTS ALL IMMEDIATE")()

    refuse(execute(sql))


def test_it_lets_a_text_be_erased_and_nothing_else_of_it_change() -> None:
    LedgerText.objects.filter(entry_id=1).update(text="", salt="", erased_at=timezone.now())

    assert LedgerText.objects.get(entry_id=1).text == ""


@pytest.mark.django_db(transaction=True)
def test_an_entry_is_written_only_inside_a_transaction() -> None:
    with pytest.raises(RuntimeError, match="in the transaction"):
        append(by=Actor.system(), action="trial.made", subject="trial:9")


def test_the_head_follows_the_last_entry() -> None:
    last = LedgerEntry.objects.latest("seq")

    head = LedgerHead.objects.get()

    assert (head.seq, head.hash) == (last.seq, last.hash) == (3, last.hash)


def test_a_missing_trigger_is_noticed() -> None:
    assert triggers.missing(connection) == []

    on = " ON registry_ledgerentry" if connection.vendor == "postgresql" else ""
    execute(f"DROP TRIGGER ledger_entry_no_update{on}")()

    assert triggers.missing(connection) == ["ledger_entry_no_update"]
