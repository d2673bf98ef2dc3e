"""How many of the puppies born in a year were tested: of what everybody may read of each dog.

That a dog was examined is public whether or not its result is released. Reads only.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, Q
from django.db.models.functions import ExtractYear

from registry.models import Dog, Evaluation, State


@dataclass(frozen=True, slots=True)
class BirthYear:
    """The dogs of one birth year with both parents on record, and how many of them were tested."""

    year: int
    puppies: int
    tested: int


def birth_years(breed_pk: int) -> list[BirthYear]:
    """The breed's birth years, oldest first. An exam that was revoked is none: one query."""
    exams = Evaluation.objects.filter(
        dog=OuterRef("pk"), state__in=(State.ACCEPTED, State.REPLACED)
    )
    rows = (
        Dog.objects.filter(breed_id=breed_pk, sire__isnull=False, dam__isnull=False)
        .annotate(year=ExtractYear("born_on"), is_tested=Exists(exams))
        .values("year")
        .annotate(puppies=Count("pk"), tested=Count("pk", filter=Q(is_tested=True)))
        .order_by("year")
    )
    return [BirthYear(row["year"], row["puppies"], row["tested"]) for row in rows]
