"""What waits for a second registrar."""

from __future__ import annotations

from django.db.models import F, Q, QuerySet

from registry.models import Evaluation, SecondDeed, SecondLook
from registry.models.moves import MOVES


def standing_looks() -> QuerySet[SecondLook]:
    """Open wishes about what is still as it was sent in; a correction since makes one void."""
    return SecondLook.objects.filter(
        settled_at__isnull=True, asked_at__gte=F("evaluation__submitted_at")
    )


def open_look(evaluation: Evaluation, deed: SecondDeed) -> SecondLook | None:
    """The open wish about an evaluation, or None."""
    return _waiting().filter(evaluation=evaluation, deed=deed).first()


def open_looks_of(evaluation: Evaluation) -> list[SecondLook]:
    """The open wishes about an evaluation, with who asked."""
    return list(_waiting().filter(evaluation=evaluation))


def open_looks() -> list[SecondLook]:
    """Everything that waits, oldest first."""
    return list(_waiting().select_related("evaluation__dog"))


def _waiting() -> QuerySet[SecondLook]:
    """Standing wishes that can still be carried out: the result was not decided otherwise."""
    possible = Q(pk__in=())
    for deed in SecondDeed:
        possible |= Q(deed=deed, evaluation__state__in=MOVES[deed].before)
    return standing_looks().filter(possible).select_related("asked_by")
