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
from typing import Literal, NamedTuple

from django.db import connection

from registry.desk.cells import Key, Moved, apply_moves
from registry.models import Dog, Evaluation, State
from registry.models.traits import better_steps
from registry.queries.public import as_date


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
    SELECT e.id, e.state, e.examined_on, t.id, t.slug, t.kind, t.better, r.step
    FROM registry_evaluation e
    LEFT JOIN registry_reading r ON r.evaluation_id = e.id
    LEFT JOIN registry_trait t ON t.id = r.trait_id AND t.is_counted
    WHERE e.dog_id = %s AND e.state IN ('accepted', 'replaced')
        AND NOT EXISTS (SELECT 1 FROM registry_evaluation c WHERE c.corrects_id = e.id)
    ORDER BY e.examined_on, e.accepted_at, e.id
"""
_COUNTING = """
    SELECT trait_id, id, breed_id, sex, evaluation_id, month, step
    FROM registry_countedvalue WHERE dog_id = %s AND counted_until IS NULL
"""
_COUNT = """
    INSERT INTO registry_countedvalue
        (breed_id, trait_id, sex, dog_id, evaluation_id, month, step, counted_from)
    VALUES (%s, %s, %s, %s, %s, %s, %s, %s)
"""
_COUNT_NO_MORE = "UPDATE registry_countedvalue SET counted_until = %s WHERE id = %s"


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
    apply_moves(_count(dog.pk, should, at), at=at)
    _settle_states(candidates.values(), {value.evaluation_id for value in should.values()})
    return candidates


def _count(dog_pk: int, should: Mapping[int, _Value], at: datetime) -> list[Moved]:
    """End and begin counted values by trait id until just these count; returns what moved."""
    moves: list[Moved] = []
    instant = connection.ops.adapt_datetimefield_value(at)
    with connection.cursor() as cursor:
        cursor.execute(_COUNTING, [dog_pk])
        does = {
            trait_id: (pk, _Value(breed_id, sex, evaluation_id, as_date(month), step))
            for trait_id, pk, breed_id, sex, evaluation_id, month, step in cursor.fetchall()
        }
        for trait_id in sorted(should.keys() | does.keys()):
            begun = should.get(trait_id)
            pk, ended = does.get(trait_id, (None, None))
            if begun == ended:
                continue
            if ended:
                cursor.execute(_COUNT_NO_MORE, [instant, pk])
                moves.append(ended.moved(trait_id, -1))
            if begun:
                month = connection.ops.adapt_datefield_value(begun.month)
                cursor.execute(
                    _COUNT,
                    [
                        *(begun.breed_id, trait_id, begun.sex, dog_pk),
                        *(begun.evaluation_id, month, begun.step, instant),
                    ],
                )
                moves.append(begun.moved(trait_id, 1))
    return moves


def _candidates(dog_pk: int) -> dict[int, Candidate]:
    """By key, the dog's evaluations that may count, the latest last."""
    with connection.cursor() as cursor:
        cursor.execute(_CANDIDATES, [dog_pk])
        rows = cursor.fetchall()
    found: dict[int, Candidate] = {}
    for pk, state, examined_on, trait_id, slug, kind, better, step in rows:
        if pk not in found:
            found[pk] = Candidate(pk, State(state), as_date(examined_on).replace(day=1), {})
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
