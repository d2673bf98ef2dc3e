"""Which dog an id or a chip names today: also one that was merged into another.

Every deed that takes a dog by id or chip asks here, so that an old link or a second chip never
leads nowhere. Reads only; what the public may look up is ``registry.queries.public_dogs``.
"""

from __future__ import annotations

from django.db import connection
from django.db.models import QuerySet

from registry.models import Dog, DogAlias


def dog_by_id(public_id: str) -> Dog | None:
    """The dog with this public id, or the one that the entry with this id was merged into."""
    dog = _dogs().filter(public_id=public_id).first()
    return dog or _dogs().filter(aliases__public_id=public_id).first()


def dog_by_chip(text15: str) -> Dog | None:
    """The dog with this chip, as its own or as the one of a merged entry."""
    return _dogs().filter(chip=text15).first() or _dogs().filter(aliases__chip=text15).first()


def chip_is_taken_over(text15: str) -> bool:
    """Whether the chip belongs to a merged entry, so that no dog may be registered with it."""
    return DogAlias.objects.filter(chip=text15).exists()


def hold(dog: Dog) -> bool:
    """Keep the dog from being merged away until the commit; False when that has happened already.

    SQLite's transaction holds the only write lock already.
    """
    if connection.vendor != "postgresql":
        return True
    with connection.cursor() as cursor:
        # KEY SHARE: a result may be decided on meanwhile; only a merge waits.
        cursor.execute("SELECT 1 FROM registry_dog WHERE id = %s FOR KEY SHARE", [dog.pk])
        return cursor.fetchone() is not None


def _dogs() -> QuerySet[Dog]:
    return Dog.objects.select_related("breed", "sire", "dam")
