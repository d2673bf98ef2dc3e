"""Find a dog by a name as people type it: other accents, other word order, one or two slips.

The database's trigram index gives candidates; they are ranked here by likeness of the folded words.
What is typed may be anything at all and is never an error.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import connection
from django.db.models import Q
from rapidfuzz import fuzz

from registry.models import Dog
from registry.science.folding import fold
from registry.science.microchip import (
    END_LENGTH,
    ChipProblem,
    parse_chip,
    parse_to_compare,
    slips,
)

_LONGEST = 120
_CANDIDATES = 200
_RAREST = 8
_LEAST_LIKENESS = 55.0


@dataclass(frozen=True, slots=True)
class FoundDog:
    """A dog as a list shows it; the parents' names are empty when not on record."""

    public_id: str
    name: str
    call_name: str
    sex: str
    born_on: date
    colour: str
    breed: str
    sire: str
    dam: str


def find_dogs(text: str, limit: int = 20) -> list[FoundDog]:
    """The dogs whose names are most like the text, best first; none for a text without letters."""
    folded = fold(text[:_LONGEST].replace("\x00", ""))
    if not folded:
        return []
    ranked = sorted(
        ((_likeness(folded, name), -pk) for pk, name in _candidates(folded)), reverse=True
    )
    best = [-pk for likeness, pk in ranked[:limit] if likeness >= _LEAST_LIKENESS]
    return _in_order(best)


def find_by_chip(text: str) -> FoundDog | None:
    """The dog with exactly this chip, as typed or scanned; None for anything else."""
    try:
        chip = parse_chip(text).text15
    except ChipProblem:
        return None
    found = Dog.objects.filter(Q(chip=chip) | Q(aliases__chip=chip)).values_list("pk", flat=True)
    return _in_order([*found[:1]])[0] if found else None


def find_by_chip_end(text: str, limit: int = 20) -> list[FoundDog]:
    """The dogs whose chip ends in exactly these six digits, as every page shows them; none for
    fewer or more."""
    try:
        end = parse_to_compare(text)
    except ChipProblem:
        return []
    if len(end) != END_LENGTH:
        return []
    found = Dog.objects.filter(Q(chip__endswith=end) | Q(aliases__chip__endswith=end)).distinct()
    return _in_order(list(found.order_by("name", "pk").values_list("pk", flat=True)[:limit]))


def near_chips(chip15: str, limit: int = 5) -> list[FoundDog]:
    """Dogs whose chip is one digit or one swapped pair of neighbours away."""
    near = slips(chip15)
    found = Dog.objects.filter(Q(chip__in=near) | Q(aliases__chip__in=near)).distinct()
    return _in_order(list(found.order_by("name").values_list("pk", flat=True)[:limit]))


def _likeness(folded: str, name: str) -> float:
    """0 to 100: whole likeness with words in any order, and how well the typed part is in it."""
    return 0.6 * fuzz.token_sort_ratio(folded, name) + 0.4 * fuzz.token_set_ratio(folded, name)


def _candidates(folded: str) -> Iterable[tuple[int, str]]:
    grams = {word[start : start + 3] for word in folded.split() for start in range(len(word) - 2)}
    if not grams:
        return _by_prefix(folded)
    if connection.vendor == "postgresql":
        return _rows(
            "SELECT id, search_name FROM registry_dog WHERE search_name %% %s"
            " ORDER BY similarity(search_name, %s) DESC LIMIT %s",
            [folded, folded, _CANDIDATES],
        )
    return _by_rarest(sorted(grams))


def _by_rarest(grams: list[str]) -> Iterable[tuple[int, str]]:
    """Names that share most of the rarest trigrams: common ones cost time and tell little."""
    marks = ", ".join(["%s"] * len(grams))
    known = _rows(
        f"SELECT doc, term FROM registry_dogname_terms WHERE term IN ({marks})",  # noqa: S608
        grams,
    )
    rarest = [term for _count, term in sorted(known)[:_RAREST]]
    if not rarest:
        return []
    each = " UNION ALL ".join(
        ["SELECT rowid AS dog FROM registry_dogname WHERE registry_dogname MATCH %s"] * len(rarest)
    )
    return _rows(
        # Counted before the names are fetched: a trigram's dogs are many, the best of them few.
        f"SELECT d.id, d.search_name FROM (SELECT dog FROM ({each})"  # noqa: S608
        " GROUP BY dog ORDER BY COUNT(*) DESC LIMIT %s) best"
        " JOIN registry_dog d ON d.id = best.dog",
        # Quoted, so that no letter of a name is read as an operator of the index.
        [*(f'"{term}"' for term in rarest), _CANDIDATES],
    )


def _by_prefix(folded: str) -> Iterable[tuple[int, str]]:
    found = Dog.objects.filter(search_name__startswith=folded).order_by("search_name")
    return found.values_list("pk", "search_name")[:_CANDIDATES]


def _rows(sql: str, parameters: list[Any]) -> list[tuple[Any, Any]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return list(cursor.fetchall())


def _in_order(pks: list[int]) -> list[FoundDog]:
    dogs = Dog.objects.select_related("breed", "sire", "dam").in_bulk(pks)
    return [
        FoundDog(
            public_id=dog.public_id,
            name=dog.name,
            call_name=dog.call_name,
            sex=dog.sex,
            born_on=dog.born_on,
            colour=dog.colour,
            breed=dog.breed.name,
            sire=dog.sire.name if dog.sire else "",
            dam=dog.dam.name if dog.dam else "",
        )
        for dog in (dogs[pk] for pk in pks)
    ]
