"""What the public status lists are made of: the places of certificates in a state."""

from __future__ import annotations

from registry.models import Certificate, State


def status_place(number: str) -> int:
    """The certificate's place, counted through all lists; raises Certificate.DoesNotExist."""
    place: int = Certificate.objects.values_list("status_place", flat=True).get(number=number)
    return place


def places_of(state: State, *, block: int, length: int) -> list[int]:
    """The places within list ``block``, of ``length`` places, of the certificates in the state."""
    start = block * length
    found = Certificate.objects.filter(
        evaluation__state=state, status_place__gte=start, status_place__lt=start + length
    )
    return [place - start for place in found.values_list("status_place", flat=True)]
