"""What is written so that a dog can be found by its names.

The folded names stand beside the dog and are written in the transaction that saves it. How a typed
name is matched against them is registry.queries.search; how a name is folded, registry.science.
PostgreSQL keeps its trigram index by itself; on SQLite it is a table of its own.
"""

from __future__ import annotations

from django.db import connection, transaction

from registry.models import Dog
from registry.science.folding import fold

# What the column holds. Folding can lengthen a name (one sign may stand for a whole phrase).
_LONGEST = 200


def search_name(name: str, call_name: str = "") -> str:
    """Return the folded registered name, then the folded call name unless it is in there."""
    folded = fold(name)
    words = set(folded.split())
    extra = [word for word in fold(call_name).split() if word not in words]
    return " ".join([folded, *extra]).strip()[:_LONGEST].strip()


def index_name(dog_pk: int, search_name: str) -> None:
    """Make a saved dog findable by these folded names, and by them only, in this transaction."""
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM registry_dogname WHERE rowid = %s", [dog_pk])
        cursor.execute(
            "INSERT INTO registry_dogname (rowid, name) VALUES (%s, %s)", [dog_pk, search_name]
        )


def forget_name(dog_pk: int) -> None:
    """Make a dog that is about to be deleted findable no more, in this transaction."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM registry_dogname WHERE rowid = %s", [dog_pk])


def index_all() -> int:
    """Fold and index the names of all dogs anew, after a bulk load. Returns the number of dogs."""
    dogs = Dog.objects.only("pk", "name", "call_name").order_by("pk")
    done = 0
    with transaction.atomic():
        for dog in dogs.iterator(chunk_size=5_000):
            folded = search_name(dog.name, dog.call_name)
            Dog.objects.filter(pk=dog.pk).update(search_name=folded)
            index_name(dog.pk, folded)
            done += 1
    return done
