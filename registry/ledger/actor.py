"""Who acts, in which role, for whom and through what: the part of a request that the ledger
keeps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from registry.models.people import Role

Via = Literal["web", "api", "import", "command"]


@dataclass(frozen=True, slots=True)
class Actor:
    """A person (or the system itself, with ``role`` None) acting in one role.

    ``user_pk`` and ``clinic_pk`` are database keys for the checks; ``subject_id``, ``clinic_id``
    and
    ``token_id`` are the random ids that the ledger keeps.
    """

    user_pk: int | None
    subject_id: str
    role: Role | None
    via: Via
    clinic_pk: int | None = None
    clinic_id: str = ""
    token_id: str = ""
    request_id: str = ""

    @classmethod
    def system(cls, *, via: Via = "command", request_id: str = "") -> Actor:
        """The registry acting by itself: a scheduled command, the first installation."""
        return cls(user_pk=None, subject_id="", role=None, via=via, request_id=request_id)
