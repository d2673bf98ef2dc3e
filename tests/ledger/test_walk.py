"""What a walk finds does not depend on where its chunks end."""

from __future__ import annotations

import pytest
from django.db import connection

from registry.ledger import Actor, append, triggers, walk
from registry.ledger.verify import verify

pytestmark = pytest.mark.django_db

ENTRIES = 40


@pytest.fixture(autouse=True)
def chain() -> None:
    for number in range(ENTRIES):
        reason = "so" if number % 3 == 0 else ""
        append(by=Actor.system(), action="trial.made", subject=f"trial:{number}", reason=reason)
    triggers.uninstall(connection)


def execute(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)


def test_an_entry_without_damage_raises_no_alarm(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(walk, "_CHUNK", 7)

    verdict = verify()

    assert (verdict.entries, verdict.damages, len(verdict.leaves)) == (ENTRIES, [], ENTRIES)


# A chunk of seven ends with entries 7, 14, …; the last one of all is not full.
@pytest.mark.parametrize("seq", [1, 7, 8, 14, 39, ENTRIES])
@pytest.mark.parametrize(
    "edit",
    [
        "UPDATE registry_ledgerentry SET action = 'trial.lost' WHERE seq = {seq}",
        "UPDATE registry_ledgerentry SET at = '2020-01-01 00:00:00' WHERE seq = {seq}",
        "UPDATE registry_ledgerentry SET body = '{{\"v\":1}}' WHERE seq = {seq}",
        "UPDATE registry_ledgerentry SET hash = upper(hash) WHERE seq = {seq}",
        "UPDATE registry_ledgerentry SET hash = substr(hash, 2) WHERE seq = {seq}",
        "UPDATE registry_ledgerentry SET prev_hash = substr(prev_hash, 2) WHERE seq = {seq}",
        (
            "DELETE FROM registry_ledgertext WHERE entry_id = (SELECT max(entry_id)"
            " FROM registry_ledgertext WHERE entry_id <= {seq})"
        ),
    ],
)
def test_short_chunks_find_what_one_long_chunk_finds(
    seq: int, edit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    execute(edit.format(seq=seq))

    long = verify()
    monkeypatch.setattr(walk, "_CHUNK", 7)
    short = verify()

    assert long.damages
    assert short.damages == long.damages
    assert short.leaves == long.leaves


@pytest.mark.parametrize("seq", [7, 8, 20])
def test_a_hole_ends_the_leaves_wherever_it_is(seq: int, monkeypatch: pytest.MonkeyPatch) -> None:
    execute(f"DELETE FROM registry_ledgertext WHERE entry_id = {seq}")
    execute(f"DELETE FROM registry_ledgerentry WHERE seq = {seq}")
    monkeypatch.setattr(walk, "_CHUNK", 7)

    verdict = verify()

    assert (seq, "missing") in [(damage.seq, damage.kind) for damage in verdict.damages]
    assert len(verdict.leaves) == seq - 1


@pytest.mark.parametrize(
    "column", ["action", "actor", "at", "dog", "subject", "body", "hash", "prev_hash"]
)
def test_a_column_that_is_no_text_is_named_and_stops_nothing(column: str) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("SQLite's own: PostgreSQL keeps a column's type")
    execute(f"UPDATE registry_ledgerentry SET {column} = x'4142' WHERE seq = 10")

    assert (10, "edited") in [(damage.seq, damage.kind) for damage in verify().damages]


def test_a_text_that_is_no_text_is_named_and_stops_nothing() -> None:
    if connection.vendor != "sqlite":
        pytest.skip("SQLite's own: PostgreSQL keeps a column's type")
    execute("UPDATE registry_ledgertext SET text = x'4142' WHERE entry_id = 10")

    assert [(damage.seq, damage.field) for damage in verify().damages] == [(10, "text reason")]
