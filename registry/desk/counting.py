"""Keep the breed's counts in step with what is accepted: one function, called in the same
transaction by
every deed that can change which value of a dog counts.

``recount`` compares what should count for one dog with what does, and changes only the difference:
counted
values, monthly cells, packed histograms and the states of the dog's evaluations. Histogram rows are
locked
in key order, so that two deeds on one breed queue instead of deadlocking.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, NamedTuple

from django.db import connection, transaction
from django.utils import timezone

from registry.models import Breed, DistributionCell, Dog, Evaluation, State, StoredHistogram
from registry.models.traits import better_steps
from registry.queries.public import as_date
from registry.science.distribution import Histogram, first_month, window


class Key(NamedTuple):
    """Which histogram: a breed, a trait, a sex."""

    breed_id: int
    trait_id: int
    sex: str


class Moved(NamedTuple):
    """One change of a cell: so many dogs more (or fewer) at a step of a month."""

    key: Key
    month: date
    step: int
    dogs: int


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
            # NO KEY: a clinic may still send another result of the dog meanwhile.
            cursor.execute(
                "SELECT 1 FROM registry_dog WHERE id ="
                " (SELECT dog_id FROM registry_evaluation WHERE public_id = %s)"
                " FOR NO KEY UPDATE",
                [evaluation_id],
            )


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
        trait_id: (candidate, spoken.step)
        for candidate in candidates.values()
        for trait_id, spoken in candidate.spoken.items()
    }
    moves: list[Moved] = []
    instant = connection.ops.adapt_datetimefield_value(at)
    with connection.cursor() as cursor:
        cursor.execute(_COUNTING, [dog.pk])
        does = {trait_id: tuple(rest) for trait_id, *rest in cursor.fetchall()}
        for trait_id in sorted(should.keys() | does.keys()):
            now = None
            if trait_id in should:
                candidate, step = should[trait_id]
                now = (dog.breed_id, dog.sex, candidate.pk, candidate.month, step)
            if trait_id in does:
                pk, breed_id, sex, evaluation_id, stored_month, step = does[trait_id]
                month = as_date(stored_month)
                if now == (breed_id, sex, evaluation_id, month, step):
                    continue
                cursor.execute(_COUNT_NO_MORE, [instant, pk])
                moves.append(Moved(Key(breed_id, trait_id, sex), month, step, -1))
            if now:
                breed_id, sex, evaluation_id, month, step = now
                stored_month = connection.ops.adapt_datefield_value(month)
                row = [breed_id, trait_id, sex, dog.pk, evaluation_id, stored_month, step, instant]
                cursor.execute(_COUNT, row)
                moves.append(Moved(Key(breed_id, trait_id, sex), month, step, 1))
    apply_moves(moves, at=at)
    _settle_states(candidates.values(), {candidate.pk for candidate, _step in should.values()})
    return candidates


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


def apply_moves(moves: list[Moved], *, at: datetime) -> None:
    """Add the moves to the cells and to the packed histograms of the current window."""
    by_key: dict[Key, list[Moved]] = defaultdict(list)
    for move in moves:
        by_key[move.key].append(move)
    for key in sorted(by_key):
        held = _hold_histogram(key, at)
        for move in by_key[key]:
            _move_cell(move)
        _repack(key, held, by_key[key], at)


class _Held(NamedTuple):
    """A histogram row as it was when it was locked."""

    last_month: date
    window_months: int
    packed: bytes


_HELD = (
    "SELECT last_month, window_months, packed FROM registry_storedhistogram"
    " WHERE breed_id = %s AND trait_id = %s AND sex = %s"
)
_BEGIN_HISTOGRAM = """
    INSERT INTO registry_storedhistogram
        (breed_id, trait_id, sex, last_month, window_months, packed, dogs, changed_at)
    VALUES (%s, %s, %s, %s, 0, %s, 0, %s) ON CONFLICT DO NOTHING
"""


def _hold_histogram(key: Key, at: datetime) -> _Held:
    """Lock the key's row, made if missing. On SQLite the transaction is the one writer already."""
    held = _HELD + (" FOR UPDATE" if connection.vendor == "postgresql" else "")
    with connection.cursor() as cursor:
        cursor.execute(held, key)
        row = cursor.fetchone()
        if row is None:
            long_ago = connection.ops.adapt_datefield_value(date(1, 1, 1))
            instant = connection.ops.adapt_datetimefield_value(at)
            cursor.execute(_BEGIN_HISTOGRAM, [*key, long_ago, Histogram.empty().pack(), instant])
            cursor.execute(held, key)
            row = cursor.fetchone()
    last_month, window_months, packed = row
    return _Held(as_date(last_month), window_months, packed)


def _move_cell(move: Moved) -> None:
    """Add to the cell, making it if need be; or take away from it, and drop it when it is empty."""
    cell = [*move.key, connection.ops.adapt_datefield_value(move.month), move.step]
    with connection.cursor() as cursor:
        if move.dogs > 0:
            cursor.execute(
                "INSERT INTO registry_distributioncell (breed_id, trait_id, sex, month, step, dogs)"
                " VALUES (%s, %s, %s, %s, %s, %s)"
                " ON CONFLICT (breed_id, trait_id, sex, month, step)"
                " DO UPDATE SET dogs = registry_distributioncell.dogs + excluded.dogs",
                [*cell, move.dogs],
            )
            return
        cursor.execute(
            "UPDATE registry_distributioncell SET dogs = dogs + %s"
            " WHERE breed_id = %s AND trait_id = %s AND sex = %s AND month = %s AND step = %s",
            [move.dogs, *cell],
        )
        if cursor.rowcount != 1:
            raise RuntimeError("a counted value has no cell; run manage.py rebuild_distributions")
        cursor.execute(
            "DELETE FROM registry_distributioncell"
            " WHERE breed_id = %s AND trait_id = %s AND sex = %s AND month = %s AND step = %s"
            " AND dogs = 0",
            cell,
        )


_REPACKED = """
    UPDATE registry_storedhistogram
    SET last_month = %s, window_months = %s, packed = %s, dogs = %s, changed_at = %s
    WHERE breed_id = %s AND trait_id = %s AND sex = %s
"""


def _repack(key: Key, held: _Held, moves: list[Moved], at: datetime) -> None:
    """Change the packed histogram by the moves, or sum it afresh when the window has slid."""
    last_month = current_month(at)
    with connection.cursor() as cursor:
        # Read once the row is held: whoever changes the window repacks the breed's rows after it.
        cursor.execute("SELECT window_months FROM registry_breed WHERE id = %s", [key.breed_id])
        (months,) = cursor.fetchone()
    if (held.last_month, held.window_months) == (last_month, months):
        histogram = Histogram.unpack(held.packed)
        start = first_month(last_month, months)
        for move in moves:
            if start <= move.month <= last_month:
                change = histogram.add if move.dogs > 0 else histogram.remove
                histogram = change(move.step, abs(move.dogs))
    else:
        histogram = sum_of_cells(key, last_month=last_month, months=months)
    month = connection.ops.adapt_datefield_value(last_month)
    instant = connection.ops.adapt_datetimefield_value(at)
    with connection.cursor() as cursor:
        cursor.execute(_REPACKED, [month, months, histogram.pack(), histogram.n, instant, *key])


def current_month(at: datetime) -> date:
    """The month of an instant on the club's calendar, as its first day."""
    return timezone.localdate(at).replace(day=1)


def sum_of_cells(key: Key, *, last_month: date, months: int) -> Histogram:
    """The histogram of the window, from the cells."""
    cells = DistributionCell.objects.filter(
        breed_id=key.breed_id, trait_id=key.trait_id, sex=key.sex, month__lte=last_month
    ).filter(month__gte=first_month(last_month, months))
    return window(cells.values_list("month", "step", "dogs"), last_month, months)


def slide_windows(*, at: datetime | None = None) -> int:
    """Repack every histogram whose window no longer ends with the current month; returns how many.

    Readers sum the cells when they meet an old row, so this only keeps them quick; run it monthly.
    """
    now = at or timezone.now()
    stale = StoredHistogram.objects.exclude(last_month=current_month(now))
    keys = sorted(Key(*row) for row in stale.values_list("breed_id", "trait_id", "sex"))
    for key in keys:
        with transaction.atomic():
            _repack(key, _hold_histogram(key, now), [], now)
    return len(keys)


def set_window(*, breed: Breed, months: int, at: datetime) -> None:
    """Give the breed another window, remember the old one, and repack; inside the caller's
    transaction."""
    breed.window_history = [
        *breed.window_history,
        {"until": at.isoformat(), "months": breed.window_months},
    ]
    breed.window_months = months
    breed.save(update_fields=["window_months", "window_history"])
    rows = StoredHistogram.objects.filter(breed=breed).values_list("breed_id", "trait_id", "sex")
    for key in sorted(Key(*row) for row in rows):
        _repack(key, _hold_histogram(key, at), [], at)
