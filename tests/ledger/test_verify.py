"""The verification finds each kind of damage, names entry and field, and gives no false alarm."""

from __future__ import annotations

import hashlib
import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from registry.ledger import Actor, Change, append, triggers
from registry.ledger.append import Appended
from registry.ledger.damage import Damage
from registry.ledger.verify import verify

pytestmark = pytest.mark.django_db

COUNT = 12


@pytest.fixture(autouse=True)
def entries() -> None:
    """Twelve entries, and the triggers out of the way as an owner of the server could have them."""
    for number in range(1, COUNT + 1):
        append(
            by=Actor.system(request_id=f"request-{number}"),
            action="trial.made",
            subject=f"trial:{number}",
            dog="d" * 16,
            changes={"value": Change(None, str(number))},
            reason="a reason with “quotes” and \\ signs" if number % 3 == 0 else "",
        )
    triggers.uninstall(connection)


def execute(sql: str, *parameters: str | int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)


def found() -> list[tuple[int, str, str]]:
    return [(damage.seq, damage.field, damage.kind) for damage in verify().damages]


def rehash(seq: int, body: str) -> None:
    """Store the body with a hash that fits, as a careful forger would."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT prev_hash FROM registry_ledgerentry WHERE seq = %s", [seq])
        prev = cursor.fetchone()[0]
    digest = hashlib.sha256(bytes.fromhex(prev) + body.encode()).hexdigest()
    execute(
        "UPDATE registry_ledgerentry SET body = %s, hash = %s WHERE seq = %s", body, digest, seq
    )


def body_of(seq: int) -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT body FROM registry_ledgerentry WHERE seq = %s", [seq])
        return str(cursor.fetchone()[0])


def test_a_whole_ledger_has_no_damage() -> None:
    verdict = verify()

    assert (verdict.entries, verdict.damages) == (COUNT, [])


@pytest.mark.parametrize("column", ["action", "subject", "dog", "actor"])
def test_it_names_an_edited_column(column: str) -> None:
    execute(f"UPDATE registry_ledgerentry SET {column} = 'forged' WHERE seq = 5")

    assert found() == [(5, column, "edited")]


def test_it_names_an_edited_instant() -> None:
    execute("UPDATE registry_ledgerentry SET at = '2020-01-01 00:00:00' WHERE seq = 5")

    assert found() == [(5, "at", "edited")]


@pytest.mark.parametrize("seq", [1, 5, COUNT])
def test_it_names_an_edited_body(seq: int) -> None:
    body = body_of(seq).replace(f'"to":"{seq}"', '"to":"99"')
    execute("UPDATE registry_ledgerentry SET body = %s WHERE seq = %s", body, seq)

    assert found() == [(seq, "body", "edited")]


def test_it_names_a_body_that_is_no_longer_json() -> None:
    execute("UPDATE registry_ledgerentry SET body = 'gone' WHERE seq = 5")

    assert (5, "body", "unreadable") in found()


@pytest.mark.parametrize("forged", ["0" * 64, "not a hash"])
def test_it_names_an_edited_hash(forged: str) -> None:
    execute("UPDATE registry_ledgerentry SET hash = %s WHERE seq = 5", forged)

    assert (5, "hash", "edited") in found()
    assert {seq for seq, _field, _kind in found()} <= {5, 6}


def test_it_names_an_edited_previous_hash() -> None:
    execute("UPDATE registry_ledgerentry SET prev_hash = %s WHERE seq = 5", "1" * 64)

    assert found() == [(5, "prev_hash", "edited")]


def test_it_finds_an_edit_with_a_hash_made_to_fit() -> None:
    rehash(5, body_of(5).replace('"to":"5"', '"to":"99"'))

    assert found() == [(6, "prev_hash", "edited")]
    assert "entry 5" in verify().damages[0].text


def test_it_names_a_missing_entry() -> None:
    execute("DELETE FROM registry_ledgertext WHERE entry_id = 5")
    execute("DELETE FROM registry_ledgerentry WHERE seq = 5")

    assert found() == [(5, "seq", "missing")]


def test_it_names_a_cut_tail() -> None:
    execute("DELETE FROM registry_ledgertext WHERE entry_id > 9")
    execute("DELETE FROM registry_ledgerentry WHERE seq > 9")

    assert found() == [(10, "seq", "tail cut")]


def test_it_names_an_entry_added_at_the_end() -> None:
    body = json.dumps({"seq": COUNT + 1})
    execute(
        "INSERT INTO registry_ledgerentry"
        " (seq, at, action, subject, dog, actor, body, prev_hash, hash)"
        " SELECT seq + 1, at, action, subject, dog, actor, %s, hash, hash"
        " FROM registry_ledgerentry WHERE seq = %s",
        body,
        COUNT,
    )

    assert (COUNT + 1, "seq", "added") in found()


def test_it_finds_two_entries_swapped() -> None:
    five, six = body_of(5), body_of(6)
    execute("UPDATE registry_ledgerentry SET body = %s WHERE seq = 5", six)
    execute("UPDATE registry_ledgerentry SET body = %s WHERE seq = 6", five)

    assert {seq for seq, _field, _kind in found()} == {5, 6}


def test_it_names_an_edited_text() -> None:
    execute("UPDATE registry_ledgertext SET text = 'a kinder reason' WHERE entry_id = 6")

    assert found() == [(6, "text reason", "edited")]


def test_an_erased_text_is_no_damage() -> None:
    execute("UPDATE registry_ledgertext SET text = '', salt = '', erased_at = CURRENT_TIMESTAMP")

    assert found() == []


def test_it_finds_a_text_blanked_without_a_word() -> None:
    execute("UPDATE registry_ledgertext SET text = '' WHERE entry_id = 6")

    assert found() == [(6, "text reason", "edited")]


def test_it_names_a_text_that_was_removed() -> None:
    execute("DELETE FROM registry_ledgertext WHERE entry_id = 6")

    assert found() == [(6, "text reason", "missing")]


def test_it_names_a_head_that_was_moved() -> None:
    execute("UPDATE registry_ledgerhead SET hash = %s", "2" * 64)

    assert found() == [(COUNT, "head", "edited")]


def test_entries_written_during_the_walk_are_no_damage() -> None:
    written: list[Appended] = []

    def write_one(_count: int) -> None:
        if len(written) < 3:
            written.append(
                append(by=Actor.system(), action="trial.made", subject="trial:0", reason="late")
            )

    verdict = verify(progress=write_one)

    assert len(written) == 3
    assert verdict.damages == []


def test_the_command_names_the_damage_and_fails() -> None:
    execute("UPDATE registry_ledgerentry SET action = 'forged' WHERE seq = 5")
    out = StringIO()

    with pytest.raises(CommandError, match="damaged"):
        call_command("verify_ledger", stdout=out)

    assert "entry 5 · action · edited" in out.getvalue()


def test_the_command_says_that_a_whole_ledger_is_whole() -> None:
    out = StringIO()

    call_command("verify_ledger", stdout=out)

    assert f"whole: {COUNT} entries" in out.getvalue()


def test_a_list_cut_short_still_says_how_many_there_are() -> None:
    execute("UPDATE registry_ledgerentry SET action = 'forged'")

    verdict = verify(most=3)

    assert len(verdict.damages) == 3
    assert verdict.found == COUNT
    assert isinstance(verdict.damages[0], Damage)
