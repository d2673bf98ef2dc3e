"""The public log: what is signed, when, who gets it, and when nothing is signed."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.conf import LazySettings
from django.core import mail
from django.db import connection, transaction
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from registry.desk.log import HistoryDiffersError, publish_checkpoint, publish_when_due
from registry.ledger import Actor, append, tree, triggers
from registry.ledger.checkpoints import Checkpoint, open_note
from registry.ledger.keys import signer, verifier_keys
from registry.ledger.tiles import leaves, stored_nodes
from registry.models import LedgerTile, LogCheckpoint

pytestmark = pytest.mark.django_db


def grow(entries: int) -> None:
    with transaction.atomic():
        for number in range(entries):
            append(by=Actor.system(), action="trial.made", subject=f"trial:{number}")


def older(checkpoint: LogCheckpoint, hours: int) -> None:
    """Let the checkpoint have been made, and mailed if it was, hours ago."""
    then = timezone.now() - timedelta(hours=hours)
    LogCheckpoint.objects.filter(pk=checkpoint.pk).update(made_at=then)
    LogCheckpoint.objects.filter(pk=checkpoint.pk, mailed_at__isnull=False).update(mailed_at=then)


class TestPublishing:
    def test_an_empty_ledger_has_nothing_to_sign(self) -> None:
        assert publish_checkpoint() is None

    def test_the_note_states_size_and_root_of_all_entries(self) -> None:
        grow(700)

        made = publish_checkpoint()

        assert made is not None
        stated = Checkpoint.parse(open_note(made.note, verifier_keys()))
        everything = tree.nodes_over(list(leaves(0, 700)))
        assert (stated.origin, stated.size) == ("127.0.0.1:8000/log", 700)
        assert stated.root == tree.root(everything, 700)

    def test_without_growth_the_last_one_stands(self) -> None:
        grow(3)
        first = publish_checkpoint()

        assert publish_checkpoint() == first
        assert LogCheckpoint.objects.count() == 1

    def test_growth_is_shown_by_the_tiles_to_be_growth(self) -> None:
        sizes = [1, 255, 256, 257, 512, 1000]
        roots = {}
        for before, size in zip([0, *sizes], sizes, strict=False):
            grow(size - before)
            made = publish_checkpoint()
            assert made is not None
            roots[size] = bytes.fromhex(made.root)
        nodes = stored_nodes()

        for old in sizes:
            path = tree.consistency_path(nodes, old, 1000)
            assert tree.is_continued(old, roots[old], 1000, roots[1000], path)
        assert LedgerTile.objects.count() == 3

    def test_every_entry_is_shown_to_be_in_the_tree(self) -> None:
        grow(600)
        made = publish_checkpoint()
        nodes, all_leaves = stored_nodes(), list(leaves(0, 600))

        assert made is not None
        for index in (0, 1, 255, 256, 511, 512, 598, 599):
            path = tree.inclusion_path(nodes, index, 600)
            assert tree.is_included(all_leaves[index], index, 600, path, bytes.fromhex(made.root))

    def test_a_cut_history_is_not_signed(self) -> None:
        grow(10)
        publish_checkpoint()
        triggers.uninstall(connection)
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM registry_ledgerentry WHERE seq > 8")
            cursor.execute("UPDATE registry_ledgerhead SET seq = 8")

        with pytest.raises(HistoryDiffersError):
            publish_checkpoint()

    def test_a_changed_history_is_not_signed(self) -> None:
        grow(10)
        publish_checkpoint()
        grow(1)
        triggers.uninstall(connection)
        with connection.cursor() as cursor:
            cursor.execute("UPDATE registry_ledgerentry SET body = '{}' WHERE seq = 4")

        with pytest.raises(HistoryDiffersError, match="up to 10"):
            publish_checkpoint()
        assert LogCheckpoint.objects.count() == 1


class TestSchedule:
    def test_an_hour_lies_between_two(self) -> None:
        grow(2)
        first = publish_when_due()
        grow(2)

        assert first is not None
        assert publish_when_due() is None
        older(first, hours=2)
        second = publish_when_due()
        assert second is not None
        assert second.size == 4

    def test_officers_get_one_a_day(
        self,
        settings: LazySettings,
        django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    ) -> None:
        settings.LOG_OFFICERS = ["one@club.example", "two@club.example"]
        with django_capture_on_commit_callbacks(execute=True):
            grow(2)
            first = publish_when_due()
        assert first is not None
        older(first, hours=3)
        with django_capture_on_commit_callbacks(execute=True):
            grow(2)
            second = publish_when_due()

        assert second is not None
        assert [each.to for each in mail.outbox] == [["one@club.example"], ["two@club.example"]]
        older(first, hours=30)
        older(second, hours=2)
        grow(1)
        with django_capture_on_commit_callbacks(execute=True):
            publish_when_due()
        assert len(mail.outbox) == 4

    def test_the_mail_carries_the_note_and_the_new_hashes(
        self,
        settings: LazySettings,
        django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    ) -> None:
        settings.LOG_OFFICERS = ["one@club.example"]
        with django_capture_on_commit_callbacks(execute=True):
            grow(3)
            made = publish_when_due()

        assert made is not None
        attached = {name: content for name, content, _type in mail.outbox[0].attachments}
        assert attached["3.checkpoint"] == made.note
        hashes = [line.split(" ")[1] for line in attached["1-3.leaves"].splitlines()]
        assert hashes == [leaf.hex() for leaf in leaves(0, 3)]


def test_former_keys_still_open_their_notes(settings: LazySettings) -> None:
    grow(1)
    made = publish_checkpoint()
    former = signer().verifier.text
    settings.LOG_KEY = "A" * 43 + "="
    assert made is not None
    settings.LOG_FORMER_KEYS = [former]

    assert Checkpoint.parse(open_note(made.note, verifier_keys())).size == 1
