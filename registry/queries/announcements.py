"""Announced examinations as everybody may read them: what became of each, what stays open, and how
many of a breed ended in which way. Values of results are never read here."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import models
from django.db.models import QuerySet

from registry.models import Announcement, Breed, State

LONG_OPEN = timedelta(days=30)


class Outcome(models.TextChoices):
    """What became of an announcement."""

    OPEN = "open"
    WITHDRAWN = "withdrawn"
    WITH_CLUB = "with-club"
    ACCEPTED = "accepted"
    REVOKED = "revoked"
    DECLINED = "declined"
    RESULT_WITHDRAWN = "result-withdrawn"


_BY_STATE = {
    State.SUBMITTED: Outcome.WITH_CLUB,
    State.RETURNED: Outcome.WITH_CLUB,
    State.ACCEPTED: Outcome.ACCEPTED,
    State.REPLACED: Outcome.ACCEPTED,
    State.REVOKED: Outcome.REVOKED,
    State.DECLINED: Outcome.DECLINED,
    State.WITHDRAWN: Outcome.RESULT_WITHDRAWN,
}


@dataclass(frozen=True, slots=True)
class PublicAnnouncement:
    """One announcement. ``reason`` is the clinic's public one for withdrawing it; ``answered_at``
    is when the result was last sent in; ``at`` are the server's own instants."""

    reference: str
    dog_id: str
    dog: str
    clinic: str
    examined_on: date
    announced_at: datetime
    outcome: Outcome
    withdrawn_at: datetime | None
    reason: str
    answered_at: datetime | None


@dataclass(frozen=True, slots=True)
class Completeness:
    """How the announcements of one group ended; ``announced`` is the sum of the counts."""

    clinic: str
    birth_year: str
    announced: int
    counts: dict[Outcome, int]


def announcements_of_dog(dog_pk: int) -> list[PublicAnnouncement]:
    """All of a dog's announcements, newest first: one query."""
    return [_public(each) for each in _rows().filter(dog_id=dog_pk)]


def open_for_long(breed: Breed, *, at: datetime) -> list[PublicAnnouncement]:
    """The breed's announcements that have been open for more than 30 days, oldest first."""
    rows = open_ones(_rows()).filter(dog__breed=breed, announced_at__lt=at - LONG_OPEN)
    return [_public(each) for each in rows.order_by("announced_at", "pk")]


def open_of_clinic(clinic_pk: int) -> QuerySet[Announcement]:
    """A clinic's open announcements, the next examination first."""
    return open_ones(_rows()).filter(clinic_id=clinic_pk).order_by("examined_on", "pk")


def open_ones(rows: QuerySet[Announcement]) -> QuerySet[Announcement]:
    """Those without a result and not withdrawn."""
    return rows.filter(evaluation__isnull=True, withdrawn_at__isnull=True)


def completeness(breed: Breed) -> list[Completeness]:
    """Counts for each clinic and birth year of the breed's dogs, in that order: one query."""
    rows = Announcement.objects.filter(dog__breed=breed).values_list(
        "clinic__name", "dog__born_on__year", "evaluation__state", "withdrawn_at"
    )
    counts: dict[tuple[str, str], Counter[Outcome]] = {}
    for clinic, year, state, withdrawn_at in rows:
        outcome = _outcome(state, withdrawn_at)
        counts.setdefault((clinic, str(year)), Counter())[outcome] += 1
    return [_group(clinic, year, counted) for (clinic, year), counted in sorted(counts.items())]


def summed(
    groups: Iterable[Completeness], by: Callable[[Completeness], str]
) -> list[tuple[str, Completeness]]:
    """The groups added up by a name taken from each, in the order of the names."""
    sums: dict[str, Counter[Outcome]] = {}
    for group in groups:
        sums.setdefault(by(group), Counter()).update(group.counts)
    return [(name, _group("", "", counted)) for name, counted in sorted(sums.items())]


def _group(clinic: str, year: str, counted: Counter[Outcome]) -> Completeness:
    counts = {outcome: counted[outcome] for outcome in Outcome}
    return Completeness(clinic, year, counted.total(), counts)


def _rows() -> QuerySet[Announcement]:
    return Announcement.objects.select_related("dog", "clinic", "evaluation").order_by(
        "-announced_at", "-pk"
    )


def _public(found: Announcement) -> PublicAnnouncement:
    evaluation = found.evaluation
    return PublicAnnouncement(
        reference=found.reference,
        dog_id=found.dog.public_id,
        dog=found.dog.name,
        clinic=found.clinic.name,
        examined_on=found.examined_on,
        announced_at=found.announced_at,
        outcome=_outcome(evaluation.state if evaluation else None, found.withdrawn_at),
        withdrawn_at=found.withdrawn_at,
        reason=found.reason,
        answered_at=evaluation.submitted_at if evaluation else None,
    )


def _outcome(state: str | None, withdrawn_at: datetime | None) -> Outcome:
    if state is not None:
        return _BY_STATE[State(state)]
    return Outcome.WITHDRAWN if withdrawn_at else Outcome.OPEN
