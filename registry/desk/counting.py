"""Which value of a dog counts: one function, called in the same transaction by every deed that can
change it.

``recount`` compares what should count for one dog with what does, and changes only the difference:
counted values, the states of the dog's evaluations, and, through ``cells``, the counts of its
breed. It is plain SQL: building model objects took most of an approval's time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal, NamedTuple

from django.db import connection

from registry.desk.cells import Key, Moved, apply_moves
from registry.desk.public_states import HeldState, StateKey, hold_states
from registry.models import Dog, Evaluation, State
from registry.models.traits import better_steps
from registry.queries.public import as_date, as_instant
from registry.queries.public_states import sql_instant


class CountedDog(NamedTuple):
    """What counting must know of a dog: its key, breed and sex."""

    pk: int
    breed_id: int
    sex: str

    @classmethod
    def of(cls, dog: Dog) -> CountedDog:
        """The same, of a dog that is loaded."""
        return cls(dog.pk, dog.breed_id, dog.sex)


@dataclass(frozen=True, slots=True)
class Spoken:
    """The value that an evaluation gives its dog for one trait: the worse side's."""

    trait_id: int
    slug: str
    better: Literal["lower", "higher"]
    step: int


@dataclass(slots=True)
class Candidate:
    """An evaluation that may count, with what it says of each counted trait. ``state`` is what the
    counting made of it."""

    pk: int
    state: State
    month: date
    is_released: bool
    spoken: dict[int, Spoken]


class _Value(NamedTuple):
    """What counts for a dog's trait, and where: the same in every part is the same value."""

    breed_id: int
    sex: str
    evaluation_id: int
    month: date
    step: int

    def moved(self, trait_id: int, dogs: int) -> Moved:
        """The cell's change when the value begins or ceases to count."""
        return Moved(Key(self.breed_id, trait_id, self.sex), self.month, self.step, dogs)


_CANDIDATES = """
    SELECT e.id, e.state, e.examined_on, e.consent_to_publish, t.id, t.slug, t.kind, t.better,
           r.step
    FROM registry_evaluation e
    LEFT JOIN registry_reading r ON r.evaluation_id = e.id
    LEFT JOIN registry_trait t ON t.id = r.trait_id AND t.is_counted
    WHERE e.dog_id = %s AND e.state IN ('accepted', 'replaced')
        AND NOT EXISTS (SELECT 1 FROM registry_evaluation c WHERE c.corrects_id = e.id)
    ORDER BY e.examined_on, e.accepted_at, e.id
"""
_COUNTING = """
    SELECT v.trait_id, v.breed_id, v.sex, v.evaluation_id, v.month, v.step,
           v.id, e.consent_to_publish, v.public_from, v.public_until
    FROM registry_countedvalue v JOIN registry_evaluation e ON e.id = v.evaluation_id
    WHERE v.dog_id = %s AND v.counted_until IS NULL
"""
_COUNT = """
    INSERT INTO registry_countedvalue
        (breed_id, trait_id, sex, dog_id, evaluation_id, month, step, counted_from,
         public_from, public_until)
    VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s)
"""
_COUNT_NO_MORE = (
    "UPDATE registry_countedvalue SET counted_until = %s, public_until = %s WHERE id = %s"
)


def hold_dog_of(evaluation_id: str) -> None:
    """Let one deed at a time decide what counts for the evaluation's dog; until the commit.

    Must come before the evaluation's own row is held and before the deed's instant is taken: two
    results of one dog decided at once would otherwise not see each other, or wait for each other.
    SQLite's transaction holds the only write lock already.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            # A dog that was merged into another while its row was waited for is gone: then the
            # evaluation has the other dog.
            for _turn in range(2):
                # NO KEY: a clinic may still send another result of the dog meanwhile.
                cursor.execute(
                    "SELECT 1 FROM registry_dog WHERE id ="
                    " (SELECT dog_id FROM registry_evaluation WHERE public_id = %s)"
                    " FOR NO KEY UPDATE",
                    [evaluation_id],
                )
                if cursor.fetchone() is not None:
                    break


def recount(*, dog: CountedDog, at: datetime) -> dict[int, Candidate]:
    """Bring everything that counts for the dog up to date, as from the instant ``at``.

    The caller holds the dog's row: by ``hold_dog_of``, or by having changed the dog.
    The latest accepted evaluation that carries a trait counts for it; one that was put right by a
    correction never does. An evaluation of which nothing counts any more is replaced. Returns the
    dog's accepted and replaced evaluations by key, without those put right.
    """
    candidates = _candidates(dog.pk)
    # The latest comes last and wins.
    should = {
        trait_id: _Value(dog.breed_id, dog.sex, candidate.pk, candidate.month, spoken.step)
        for candidate in candidates.values()
        for trait_id, spoken in candidate.spoken.items()
    }
    released = {candidate.pk for candidate in candidates.values() if candidate.is_released}
    apply_moves(_count(dog.pk, should, released, at), at=at)
    _settle_states(candidates.values(), {value.evaluation_id for value in should.values()})
    return candidates


class _Counting(NamedTuple):
    """A row that counts, and what the public has of it."""

    pk: int
    is_released: bool
    public_from: datetime | None
    public_until: datetime | None


def _count(
    dog_pk: int, should: Mapping[int, _Value], released: set[int], at: datetime
) -> list[Moved]:
    """End and begin counted values by trait id until just these count; returns what moved.

    ``released`` are the evaluations whose owners agreed to publish: what the public may see of the
    counts follows here, in the same transaction.
    """
    does = _counting(dog_pk)
    differing = [
        (trait_id, does.get(trait_id, (None, None)), should.get(trait_id))
        for trait_id in sorted(should.keys() | does.keys())
    ]
    differing = [each for each in differing if each[1][0] != each[2]]
    moves: list[Moved] = []
    states = hold_states(
        (
            StateKey(value.breed_id, trait_id)
            for trait_id, (ended, _row), begun in differing
            for value in (ended, begun)
            if value
        ),
        at=at,
    )
    with connection.cursor() as cursor:
        for trait_id, (ended, row), begun in differing:
            if ended and row:
                state = states[StateKey(ended.breed_id, trait_id)]
                _end(cursor, state, ended, row)
                moves.append(ended.moved(trait_id, -1))
            if begun:
                state = states[StateKey(begun.breed_id, trait_id)]
                _begin(cursor, state, dog_pk, begun, is_released=begun.evaluation_id in released)
                moves.append(begun.moved(trait_id, 1))
    for state in states.values():
        state.close()
    return moves


def _counting(dog_pk: int) -> dict[int, tuple[_Value, _Counting]]:
    """What counts for the dog now, by trait id."""
    with connection.cursor() as cursor:
        cursor.execute(_COUNTING, [dog_pk])
        return {
            trait_id: (
                _Value(breed_id, sex, evaluation_id, as_date(month), step),
                _Counting(
                    row[0], bool(row[1]), *(as_instant(each) if each else None for each in row[2:])
                ),
            )
            for trait_id, breed_id, sex, evaluation_id, month, step, *row in cursor.fetchall()
        }


def _end(cursor: Any, state: HeldState, value: _Value, row: _Counting) -> None:
    until = state.go(
        sex=value.sex,
        step=value.step,
        public_from=row.public_from,
        public_until=row.public_until,
        is_released=row.is_released,
    )
    cursor.execute(
        _COUNT_NO_MORE,
        [sql_instant(state.at), sql_instant(until) if until else None, row.pk],
    )


def _begin(cursor: Any, state: HeldState, dog_pk: int, value: _Value, *, is_released: bool) -> None:
    comes, goes = state.come(
        sex=value.sex, month=value.month, step=value.step, is_released=is_released
    )
    cursor.execute(
        _COUNT,
        [
            *(value.breed_id, state.key.trait_id, value.sex, dog_pk, value.evaluation_id),
            *(connection.ops.adapt_datefield_value(value.month), value.step),
            sql_instant(state.at),
            *(sql_instant(each) if each else None for each in (comes, goes)),
        ],
    )


def _candidates(dog_pk: int) -> dict[int, Candidate]:
    """By key, the dog's evaluations that may count, the latest last."""
    with connection.cursor() as cursor:
        cursor.execute(_CANDIDATES, [dog_pk])
        rows = cursor.fetchall()
    found: dict[int, Candidate] = {}
    for pk, state, examined_on, consent, trait_id, slug, kind, better, step in rows:
        if pk not in found:
            month = as_date(examined_on).replace(day=1)
            found[pk] = Candidate(pk, State(state), month, bool(consent), {})
        if trait_id is not None:
            spoken = found[pk].spoken
            end = better_steps(kind, better)
            other = spoken[trait_id].step if trait_id in spoken else step
            worse = max(step, other) if end == "lower" else min(step, other)
            spoken[trait_id] = Spoken(trait_id, slug, end, worse)
    return found


def _settle_states(candidates: Iterable[Candidate], counting: set[int]) -> None:
    """Something of it counts: accepted. Nothing does: replaced, unless it carries nothing that
    could be overtaken."""
    for candidate in candidates:
        is_current = candidate.pk in counting or not candidate.spoken
        state = State.ACCEPTED if is_current else State.REPLACED
        if candidate.state != state:
            Evaluation.objects.filter(pk=candidate.pk).update(state=state)
            candidate.state = state
