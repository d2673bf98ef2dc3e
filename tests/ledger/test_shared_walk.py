"""A long chain is shared between processes, and they see what one would have seen."""

from __future__ import annotations

import pytest
from django.db import connection, transaction

from registry.ledger import Actor, append, triggers
from registry.ledger import verify as room
from registry.ledger.verify import verify

pytestmark = pytest.mark.django_db(transaction=True)

# Three processes meet at 256 and 512, where full tiles of the public tree end.
ENTRIES = 800


@pytest.fixture(autouse=True)
def chain(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "_LONG", 10)
    with transaction.atomic():
        for number in range(ENTRIES):
            append(by=Actor.system(), action="trial.made", subject=f"trial:{number}", reason="so")


def execute(sql: str) -> None:
    triggers.uninstall(connection)
    with connection.cursor() as cursor:
        cursor.execute(sql)


def test_a_whole_chain_is_whole_for_three() -> None:
    one, three = verify(), verify(processes=3)

    assert (three.entries, three.head, three.damages) == (ENTRIES, one.head, [])
    assert three.leaves == one.leaves


@pytest.mark.parametrize(
    ("seq", "column"),
    [(1, "action"), (256, "hash"), (257, "prev_hash"), (512, "action"), (800, "hash")],
)
def test_three_find_what_one_finds(seq: int, column: str) -> None:
    execute(f"UPDATE registry_ledgerentry SET {column} = '{'f' * 32}' WHERE seq = {seq}")

    one, three = verify(), verify(processes=3)

    assert one.damages
    assert three.damages == one.damages


def test_three_see_a_hole_at_a_seam() -> None:
    execute("DELETE FROM registry_ledgertext WHERE entry_id IN (256, 257)")
    execute("DELETE FROM registry_ledgerentry WHERE seq IN (256, 257)")

    one, three = verify(), verify(processes=3)

    assert [damage.kind for damage in one.damages] == ["missing"]
    assert three.damages == one.damages
    assert len(three.leaves) == len(one.leaves) == 255
