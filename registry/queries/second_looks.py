"""What waits for a second registrar."""

from __future__ import annotations

from registry.models import Evaluation, SecondDeed, SecondLook


def open_look(evaluation: Evaluation, deed: SecondDeed) -> SecondLook | None:
    """The open wish about an evaluation, or None."""
    return next(iter(open_looks_of(evaluation, deed)), None)


def open_looks_of(evaluation: Evaluation, *deeds: SecondDeed) -> list[SecondLook]:
    """The open wishes about an evaluation, with who asked."""
    looks = evaluation.second_looks.filter(settled_at__isnull=True).select_related("asked_by")
    return list(looks.filter(deed__in=deeds) if deeds else looks)


def open_looks() -> list[SecondLook]:
    """Everything that waits, oldest first."""
    looks = SecondLook.objects.filter(settled_at__isnull=True)
    return list(looks.select_related("asked_by", "evaluation__dog"))
