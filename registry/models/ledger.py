"""The audit trail as stored: entries that nothing may change, the head that orders them, and the
erasable texts beside them. ``registry.ledger`` writes and verifies them."""

from __future__ import annotations

from django.db import models


class LedgerEntry(models.Model):
    """One change. ``body`` is canonical JSON (RFC 8785) and is what the hash covers; the columns
    beside
    it repeat parts of the body for look-up and are compared with it by the verification."""

    seq = models.BigIntegerField(primary_key=True)
    at = models.DateTimeField()
    action = models.CharField(max_length=32)
    subject = models.CharField(max_length=40)
    dog = models.CharField(max_length=16, blank=True)
    actor = models.CharField(max_length=16, blank=True)
    body = models.TextField()
    prev_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ("seq",)
        indexes = (
            models.Index(fields=("subject", "seq"), name="ledger_subject"),
            models.Index(fields=("dog", "seq"), name="ledger_dog"),
        )
        verbose_name_plural = "ledger entries"


class LedgerHead(models.Model):
    """One row: the last entry's number and hash. Locking it orders the writers."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    seq = models.BigIntegerField(default=0)
    hash = models.CharField(max_length=64)


class LedgerText(models.Model):
    """Words that belong to an entry but may be a person's: the entry holds only a salted
    commitment, so
    the words can be erased and the chain still verifies. An erased text keeps its row, empty."""

    entry = models.ForeignKey(LedgerEntry, on_delete=models.PROTECT, related_name="texts")
    field = models.CharField(max_length=60)
    salt = models.CharField(max_length=32)
    text = models.TextField(blank=True)
    erased_at = models.DateTimeField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("entry", "field"), name="ledger_text_one_per_field"),
        )


class LedgerTile(models.Model):
    """Up to here the public tree is written down: 256 neighbouring hashes of one level, 32 bytes
    each. Level 0 holds the leaves. Made from the entries; never changed."""

    level = models.PositiveSmallIntegerField()
    index = models.BigIntegerField()
    hashes = models.BinaryField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("level", "index"), name="ledger_tile_place"),
        )


class LogCheckpoint(models.Model):
    """A signed statement of how the ledger's tree stood at ``size`` entries; ``note`` is what was
    published, to the letter."""

    size = models.BigIntegerField(unique=True)
    root = models.CharField(max_length=64)
    note = models.TextField()
    made_at = models.DateTimeField()
    mailed_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("size",)
