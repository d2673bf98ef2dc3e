"""A rewrite that fits the chain shows against the public tree, and against what others kept."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from registry.desk.log import publish_checkpoint
from registry.ledger import Actor, append, triggers
from registry.ledger.append import GENESIS
from registry.ledger.keys import signer
from registry.ledger.tiles import leaves
from registry.ledger.verify import verify
from registry.models import LedgerTile, LogCheckpoint

pytestmark = pytest.mark.django_db

COUNT = 600


@pytest.fixture(autouse=True)
def ledger() -> None:
    """Entries with a full tile of the tree and two checkpoints, triggers out of the way."""
    grow(300)
    publish_checkpoint()
    grow(COUNT - 300)
    publish_checkpoint()
    triggers.uninstall(connection)


def grow(entries: int) -> None:
    for number in range(entries):
        append(by=Actor.system(), action="trial.made", subject=f"trial:{number}")


def execute(sql: str, *parameters: str | int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)


def rewrite(seq: int, *, size: int = COUNT) -> None:
    """Change one entry and write every later hash and the head anew, so that the chain fits."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT seq, body FROM registry_ledgerentry WHERE seq <= %s ORDER BY seq", [size]
        )
        previous, rows = GENESIS, cursor.fetchall()
    for number, stored in rows:
        body = stored
        if number == seq:
            body = stored.replace('"subject":"trial:', '"subject":"trial:9')
            execute(
                "UPDATE registry_ledgerentry SET subject = 'trial:9' || substr(subject, 7)"
                " WHERE seq = %s",
                seq,
            )
        digest = hashlib.sha256(bytes.fromhex(previous) + body.encode()).hexdigest()
        execute(
            "UPDATE registry_ledgerentry SET body = %s, prev_hash = %s, hash = %s WHERE seq = %s",
            body,
            previous,
            digest,
            number,
        )
        previous = digest
    execute("UPDATE registry_ledgerhead SET seq = %s, hash = %s", size, previous)


def sign_anew() -> None:
    """Make tiles and checkpoints anew with the real key, as somebody who runs the server could."""
    sizes = list(LogCheckpoint.objects.values_list("size", flat=True))
    LedgerTile.objects.all().delete()
    LogCheckpoint.objects.all().delete()
    with connection.cursor() as cursor:
        cursor.execute("SELECT seq, hash FROM registry_ledgerhead")
        seq, last = cursor.fetchone()
        for size in sizes:
            execute("UPDATE registry_ledgerhead SET seq = %s", min(size, seq))
            publish_checkpoint()
    execute("UPDATE registry_ledgerhead SET seq = %s, hash = %s", seq, last)


def found() -> list[tuple[int, str, str]]:
    return [(damage.seq, damage.field, damage.kind) for damage in verify().damages]


def keep(folder: Path, size: int, *, since: int | None = None) -> list[str]:
    """Store a checkpoint, and the hashes since an earlier one, as the mails bring them."""
    note = folder / f"{size}.checkpoint"
    note.write_text(LogCheckpoint.objects.get(size=size).note, encoding="utf-8")
    arguments = ["--against", str(note)]
    if since is not None:
        file = folder / f"{size}.leaves"
        lines = [f"{seq} {leaf.hex()}\n" for seq, leaf in enumerate(leaves(since, size), since + 1)]
        file.write_text("".join(lines), encoding="utf-8")
        arguments += ["--leaves", str(file)]
    return arguments


def test_a_whole_ledger_agrees_with_its_tree() -> None:
    assert verify().damages == []


def test_entries_after_the_last_checkpoint_do_no_harm() -> None:
    grow(5)

    assert verify().damages == []


def test_a_rewritten_chain_is_pinned_by_the_tiles() -> None:
    rewrite(77)

    assert found() == [
        (77, "tree", "edited"),
        (300, "checkpoint", "rewritten"),
        (600, "checkpoint", "rewritten"),
    ]


def test_a_rewrite_past_the_last_full_tile_is_seen_by_the_checkpoint() -> None:
    rewrite(555)

    assert found() == [(600, "checkpoint", "rewritten")]


def test_an_edited_tile_is_named() -> None:
    tile = LedgerTile.objects.get(level=0, index=1)
    LedgerTile.objects.filter(pk=tile.pk).update(hashes=bytes(32) + bytes(tile.hashes)[32:])

    assert found() == [(257, "tree", "edited")]


@pytest.mark.parametrize("length", [0, 32, 8191])
def test_a_tile_that_was_cut_is_named(length: int) -> None:
    tile = LedgerTile.objects.get(level=0, index=1)
    LedgerTile.objects.filter(pk=tile.pk).update(hashes=bytes(tile.hashes)[:length])

    damages = verify().damages

    assert (257, "tree", "edited") in [(each.seq, each.field, each.kind) for each in damages]


def test_an_edited_checkpoint_is_named() -> None:
    LogCheckpoint.objects.filter(size=300).update(root="0" * 64)

    assert found() == [(300, "checkpoint", "edited")]


def test_a_forged_note_is_named() -> None:
    stored = LogCheckpoint.objects.get(size=300)
    LogCheckpoint.objects.filter(pk=stored.pk).update(note=stored.note.replace("300", "301"))

    assert found() == [(300, "checkpoint", "edited")]


def test_a_cut_tail_with_a_mended_head_is_seen() -> None:
    execute("DELETE FROM registry_ledgerentry WHERE seq > 500")
    rewrite(1, size=500)

    assert (501, "checkpoint", "tail cut") in found()


class TestAgainstWhatSomebodyKept:
    def test_an_untouched_ledger_agrees(self, tmp_path: Path) -> None:
        grow(3)

        call_command("verify_ledger", *keep(tmp_path, 300), *keep(tmp_path, 600, since=300))

    def test_a_full_rewrite_with_the_real_key_is_caught(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        kept = keep(tmp_path, 600)
        rewrite(123)
        sign_anew()
        assert verify().is_whole

        with pytest.raises(CommandError, match="1 damage"):
            call_command("verify_ledger", *kept)
        assert "history differs from entry 1 on" in capsys.readouterr().out

    def test_an_earlier_checkpoint_narrows_it_down(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        kept = [*keep(tmp_path, 300), *keep(tmp_path, 600)]
        rewrite(456)
        sign_anew()

        with pytest.raises(CommandError):
            call_command("verify_ledger", *kept)
        assert "history differs from entry 301 on" in capsys.readouterr().out

    def test_kept_hashes_name_the_entry(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        kept = [*keep(tmp_path, 300, since=0), *keep(tmp_path, 600, since=300)]
        rewrite(456)
        sign_anew()

        with pytest.raises(CommandError):
            call_command("verify_ledger", *kept)
        assert "entry 456 is not the one that was there" in capsys.readouterr().out

    def test_a_ledger_cut_short_is_caught(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        kept = keep(tmp_path, 600)
        execute("DELETE FROM registry_ledgerentry WHERE seq > 590")
        rewrite(1, size=590)
        sign_anew()

        with pytest.raises(CommandError):
            call_command("verify_ledger", *kept)
        assert "entries 591 to 600 were there and are gone" in capsys.readouterr().out

    def test_a_forged_checkpoint_is_refused(self, tmp_path: Path) -> None:
        kept = keep(tmp_path, 600)
        note = Path(kept[1])
        note.write_text(note.read_text("utf-8").replace("600", "601"), encoding="utf-8")

        with pytest.raises(CommandError, match="the note was changed"):
            call_command("verify_ledger", *kept)

    def test_the_keepers_own_copy_of_the_key_decides(self, tmp_path: Path) -> None:
        kept = keep(tmp_path, 600)

        call_command("verify_ledger", *kept, "--key", signer().verifier.text)
        with pytest.raises(CommandError, match="None of the known keys"):
            call_command(
                "verify_ledger",
                *kept,
                "--key",
                "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k",
            )

    @pytest.mark.parametrize("content", ["", "no note", "1 zz\n"])
    def test_files_that_cannot_be_read_are_named(self, tmp_path: Path, content: str) -> None:
        file = tmp_path / "kept"
        file.write_text(content, encoding="utf-8")

        with pytest.raises(CommandError, match="kept"):
            call_command("verify_ledger", "--against", str(file))
        with pytest.raises(CommandError, match="is not there"):
            call_command("verify_ledger", "--against", str(tmp_path / "nothing"))
