"""Files of pedigrees that were looked through and may be imported; the rows themselves become
dogs. The content is kept only until the import, the digest for good."""

from __future__ import annotations

from django.db import models

from registry.models.clocked import ClockedField
from registry.models.ids import random_id
from registry.models.people import User


class PedigreeFile(models.Model):
    """One file that somebody sent in. ``content`` is empty once it is imported or too old."""

    public_id = models.CharField(max_length=16, unique=True, default=random_id, editable=False)
    name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    content = models.BinaryField()
    sent_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    sent_at = ClockedField(auto_now_add=True)
    imported_at = models.DateTimeField(null=True)

    class Meta:
        indexes = (models.Index(fields=("sent_at",), name="pedigree_file_age"),)

    def __str__(self) -> str:
        return self.name
