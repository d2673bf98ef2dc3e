"""What is written so that a dog can be found by its names.

The folded names stand beside the dog and are written in the transaction that saves it. How a typed
name is matched against them is registry.queries.search; how a name is folded, registry.science.
"""

from __future__ import annotations

from registry.models import Dog
from registry.science.folding import fold

# What the column holds. Folding can lengthen a name (one sign may stand for a whole phrase).
_LONGEST = 200


def search_name(name: str, call_name: str = "") -> str:
    """Return the folded registered name, then the folded call name unless it is in there
    already."""
    folded = fold(name)
    words = set(folded.split())
    extra = [word for word in fold(call_name).split() if word not in words]
    return " ".join([folded, *extra]).strip()[:_LONGEST].strip()


def index_name(dog_pk: int, search_name: str) -> None:
    """Make a saved dog findable by these folded names, and by them only, in this transaction."""
    Dog.objects.filter(pk=dog_pk).exclude(search_name=search_name).update(search_name=search_name)


def index_all() -> int:
    """Fold and index the names of all dogs anew; for bulk loads. Returns the number of dogs."""
    dogs = Dog.objects.only("pk", "name", "call_name", "search_name").order_by("pk")
    done = 0
    for dog in dogs.iterator(chunk_size=5_000):
        index_name(dog.pk, search_name(dog.name, dog.call_name))
        done += 1
    return done
