"""What a desk function raises when it will not do a thing. Faces turn these into pages and problem
details."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


class DeskError(Exception):
    """Base of everything a caller has to answer for; nothing was written when one is raised."""


class NotFound(DeskError):
    """No such object for this actor; another clinic's object is the same as none."""


class Refused(DeskError):
    """The actor may not do this, with the reason in words."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault of the input: a JSON pointer to the field (RFC 6901) and what to do about it."""

    pointer: str
    message: str


class Invalid(DeskError):
    """The input cannot be taken as it is; every fault is listed."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("; ".join(problem.message for problem in problems))
        self.problems = problems

    @classmethod
    def one(cls, pointer: str, message: str) -> Invalid:
        """A single fault."""
        return cls([Problem(pointer, str(message))])


class Conflict(DeskError):
    """Somebody else was first. ``state`` is what the object is now; who and when may be unknown."""

    def __init__(
        self, message: str, *, state: str = "", who: str = "", at: datetime | None = None
    ) -> None:
        super().__init__(message)
        self.state = state
        self.who = who
        self.at = at


class KeyReused(DeskError):
    """An Idempotency-Key came again with another body."""
