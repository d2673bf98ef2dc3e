"""From when until when an evaluation's values counted, and so when a newer one took its place and
when none did any more: read as one text, so that a certificate's row stays one row."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

SPANS = {
    "sqlite": "(SELECT group_concat(v.trait_id || '=' || v.counted_from || '='"
    " || COALESCE(v.counted_until, ''), ',') FROM registry_countedvalue v"
    " WHERE v.evaluation_id = e.id)",
    "postgresql": "(SELECT string_agg(v.trait_id || '=' || v.counted_from::text || '='"
    " || COALESCE(v.counted_until::text, ''), ',' ORDER BY v.id) FROM registry_countedvalue v"
    " WHERE v.evaluation_id = e.id)",
}
"""The column, by database: of the evaluation ``e``, trait=from=until, one after another."""


@dataclass(frozen=True, slots=True)
class Turn:
    """At this instant values of the evaluation ceased to count, or began to once it was issued;
    ``is_whole`` says that nothing of it counted right afterwards."""

    at: datetime
    counts: bool
    is_whole: bool


def turns_from(
    spans: str | None, *, issued_at: datetime, decided_at: datetime | None
) -> tuple[Turn, ...]:
    """The turns by other results' doing, the oldest first. What the evaluation's own decisions did
    is left out, and so are values that went on under a dog's corrected facts."""
    read = [_span(each) for each in (spans or "").split(",") if each]
    begun = {(trait, start) for trait, start, _end in read}
    ended = {(trait, end) for trait, _start, end in read if end is not None}
    own = {issued_at, decided_at}
    found = [
        *(Turn(at, counts=True, is_whole=False) for at in _instants(begun - ended)),
        *(Turn(at, counts=False, is_whole=_is_over(read, at)) for at in _instants(ended - begun)),
    ]
    return tuple(sorted((turn for turn in found if turn.at not in own), key=lambda turn: turn.at))


def counted_by(spans: str | None, at: datetime) -> frozenset[int]:
    """The keys of the traits for which the evaluation counted at the instant or before it."""
    read = [_span(each) for each in (spans or "").split(",") if each]
    return frozenset(int(trait) for trait, start, _end in read if start <= at)


Span = tuple[str, datetime, datetime | None]


def _span(text: str) -> Span:
    trait, start, end = text.split("=")
    return trait, _instant(start), _instant(end) if end else None


def _instant(text: str) -> datetime:
    instant = datetime.fromisoformat(text)
    return instant if instant.tzinfo else instant.replace(tzinfo=UTC)


def _instants(ends: set[tuple[str, datetime]]) -> set[datetime]:
    return {at for _trait, at in ends}


def _is_over(spans: list[Span], at: datetime) -> bool:
    """Whether nothing counts right after the instant."""
    return not any(start <= at and (end is None or at < end) for _trait, start, end in spans)
