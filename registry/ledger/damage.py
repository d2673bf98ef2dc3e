"""What the verification can find wrong, in one place for all that look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["edited", "missing", "out of order", "added", "tail cut", "unreadable", "rewritten"]


@dataclass(frozen=True, slots=True)
class Damage:
    """One thing that is wrong with one entry, and the sentence that says so."""

    seq: int
    field: str
    kind: Kind
    text: str
