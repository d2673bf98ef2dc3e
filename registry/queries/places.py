"""Where an examined dog stands among the others: the one answer that page, paper, interface and
signed file give, as of today and as kept with the certificate.

The dog is never among those it is compared with. Whether the counts hold it is asked here and
nowhere else.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from registry.queries.breed_counts import BreedCounts
from registry.queries.held_values import other_values_of_dog
from registry.queries.public import CertificateRecord, ReadTrait
from registry.queries.within_dogs import WithinDog
from registry.science.distribution import Histogram
from registry.science.scale import Better
from registry.science.standing import Span, Standing, others, second_exam, standing


@dataclass(frozen=True, slots=True)
class Place:
    """A standing among other dogs examined from ``first_month`` to ``last_month``.

    ``among`` holds these dogs. ``is_inside`` says that the dog itself was counted with this value,
    and was taken out to be compared. ``second`` is what a second examination of the dog could give
    by the measuring error ``within`` dogs; None where that is not known.
    """

    standing: Standing
    among: Histogram
    is_inside: bool
    first_month: date
    last_month: date
    within: WithinDog | None
    second: Span | None


@dataclass(frozen=True, slots=True)
class IssuedPlace:
    """The standing kept with the certificate, of the dogs counted on the day of issue."""

    standing: Standing
    first_month: date
    last_month: date


def place_of(
    counts: BreedCounts,
    trait_id: int,
    step: int,
    better: Better,
    *,
    evaluation_id: int,
) -> Place:
    """Where the dog stands by this evaluation's value; the counts were read for the evaluation (its
    key)."""
    is_inside = counts.holds(trait_id, evaluation_id)
    among = others(counts.of(trait_id), step, own_is_inside=is_inside)
    within = counts.within.get(trait_id)
    return Place(
        standing(among, step, better),
        among,
        is_inside,
        counts.first_month,
        counts.last_month,
        within,
        second_exam(among, step, better, sd_steps=within.sd_steps) if within else None,
    )


def newer_values(record: CertificateRecord, *, now: datetime) -> tuple[tuple[int, int], ...]:
    """The (trait id, step) by which the dog's newer exams are in the public counts, where they are
    shown. One query, none where all of the certificate counts."""
    if all(read.counts for read in record.readings if read.trait.is_counted):
        return ()
    return other_values_of_dog(record.evaluation_pk, at=now)


def without(counts: BreedCounts, values: Iterable[tuple[int, int]]) -> BreedCounts:
    """The counts with these values, one dog each, taken out."""
    by_trait = dict(counts.by_trait)
    for trait_id, step in values:
        if counts.of(trait_id).at(step):
            by_trait[trait_id] = by_trait[trait_id].remove(step)
    return replace(counts, by_trait=by_trait)


def as_kept(place: Place, step: int) -> dict[str, Any]:
    """The place as it is kept with a certificate and signed: whole numbers and days."""
    found = place.standing
    return {
        "step": step,
        "better": found.better,
        "equal": found.equal,
        "worse": found.worse,
        "others": found.n,
        "first_month": place.first_month.isoformat(),
        "last_month": place.last_month.isoformat(),
    }


def place_as_issued(record: CertificateRecord, read: ReadTrait) -> IssuedPlace | None:
    """The place kept with the certificate for one of its traits, or None for none.

    Certificates kept with the number ``n`` hold the dog itself among its equals, where it was
    counted on the day of issue.
    """
    kept = record.as_issued.get(read.trait.slug)
    if not kept:
        return None
    first, last = (date.fromisoformat(kept[name]) for name in ("first_month", "last_month"))
    is_within = first <= record.examined_on.replace(day=1) <= last
    own = int("n" in kept and is_within and read.trait.pk in record.counted_at_issue)
    return IssuedPlace(
        Standing.of(kept["better"], max(kept["equal"] - own, 0), kept["worse"]), first, last
    )
