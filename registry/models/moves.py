"""The allowed moves of an evaluation: one table that code, documents and tests read."""

from __future__ import annotations

from dataclasses import dataclass

from registry.models.evaluations import State
from registry.models.people import Role


@dataclass(frozen=True, slots=True)
class Move:
    """``before`` and ``after`` are states; ``roles`` may make the move; None marks a consequence of
    another deed that no person makes directly."""

    before: tuple[State, ...]
    after: State
    roles: tuple[Role, ...] | None
    needs_reason: bool


MOVES: dict[str, Move] = {
    "submit": Move((), State.SUBMITTED, (Role.CLINIC,), needs_reason=False),
    "resubmit": Move((State.RETURNED,), State.SUBMITTED, (Role.CLINIC,), needs_reason=False),
    "withdraw": Move(
        (State.SUBMITTED, State.RETURNED), State.WITHDRAWN, (Role.CLINIC,), needs_reason=True
    ),
    "accept": Move((State.SUBMITTED,), State.ACCEPTED, (Role.REGISTRAR,), needs_reason=False),
    "return": Move((State.SUBMITTED,), State.RETURNED, (Role.REGISTRAR,), needs_reason=True),
    "decline": Move((State.SUBMITTED,), State.DECLINED, (Role.REGISTRAR,), needs_reason=True),
    "revoke": Move(
        (State.ACCEPTED, State.REPLACED), State.REVOKED, (Role.REGISTRAR,), needs_reason=True
    ),
    "replace": Move((State.ACCEPTED,), State.REPLACED, (Role.REGISTRAR,), needs_reason=True),
    # A newer result counts for every trait of this one, or the newer one was revoked again.
    "overtake": Move((State.ACCEPTED,), State.REPLACED, None, needs_reason=False),
    "reinstate": Move((State.REPLACED,), State.ACCEPTED, None, needs_reason=False),
}
