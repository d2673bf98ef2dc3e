"""Everything a registrar looks at beside one result: the dog's earlier results and its
relatives'."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Prefetch, Q, QuerySet

from registry.models import Dog, Evaluation, Evidence, Reading, State

_MOST_RELATIVES = 40
_SHOWN = (State.SUBMITTED, State.RETURNED, State.ACCEPTED, State.REPLACED, State.REVOKED)


@dataclass(frozen=True, slots=True)
class RelativeResult:
    """A relative and its latest result; ``evaluation`` is None for one without any."""

    relation: str
    dog: Dog
    evaluation: Evaluation | None


@dataclass(frozen=True, slots=True)
class Review:
    """One result with what stands beside it."""

    evaluation: Evaluation
    evidence: list[Evidence]
    earlier: list[Evaluation]
    relatives: list[RelativeResult]


def evaluation_with_all(public_id: str) -> Evaluation | None:
    """The evaluation with everything a page shows of it loaded."""
    return (
        _loaded(Evaluation.objects.filter(public_id=public_id))
        .select_related(
            "dog__breed",
            "dog__sire",
            "dog__dam",
            "clinic",
            "owner",
            "submitted_by",
            "decided_by",
            "certificate",
            "corrects",
        )
        .first()
    )


def review_of(evaluation: Evaluation) -> Review:
    """What a registrar sees beside the result."""
    dog = evaluation.dog
    others = _loaded(
        Evaluation.objects.filter(dog=dog, state__in=_SHOWN).exclude(public_id=evaluation.public_id)
    )
    return Review(
        evaluation=evaluation,
        evidence=list(evaluation.evidence.order_by("uploaded_at", "pk")),
        earlier=list(others.select_related("clinic", "certificate").order_by("-examined_on")),
        relatives=_relatives(dog),
    )


def _relatives(dog: Dog) -> list[RelativeResult]:
    """Sire, dam, and litter mates, each with its latest result that waits or counts."""
    related: list[tuple[str, Dog]] = [
        (relation, parent)
        for relation, parent in (("sire", dog.sire), ("dam", dog.dam))
        if parent is not None
    ]
    related += [("litter mate", mate) for mate in litter_mates(dog)[:_MOST_RELATIVES]]
    latest: dict[int, Evaluation] = {}
    found = _loaded(
        Evaluation.objects.filter(
            dog__in=[relative for _relation, relative in related],
            state__in=(State.SUBMITTED, State.ACCEPTED),
        )
    ).order_by("examined_on", "pk")
    for evaluation in found:
        latest[evaluation.dog_id] = evaluation
    return [
        RelativeResult(relation, relative, latest.get(relative.pk))
        for relation, relative in related
    ]


def litter_mates(dog: Dog) -> QuerySet[Dog]:
    """Dogs of the same sire and dam born on the same day; none when a parent is not known."""
    if dog.sire is None or dog.dam is None:
        return Dog.objects.none()
    return (
        Dog.objects.filter(Q(sire=dog.sire) & Q(dam=dog.dam), born_on=dog.born_on)
        .exclude(public_id=dog.public_id)
        .order_by("name")
    )


def _loaded(found: QuerySet[Evaluation]) -> QuerySet[Evaluation]:
    readings = Reading.objects.select_related("trait").order_by("trait__position", "side")
    return found.prefetch_related(Prefetch("readings", readings), "flags__trait")
