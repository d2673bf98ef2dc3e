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
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from django.db import connection, transaction
from django.utils import timezone

from registry.models import (
    Breed,
    CountedValue,
    DistributionCell,
    Dog,
    Evaluation,
    Reading,
    State,
    StoredHistogram,
    Trait,
)
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


@dataclass(frozen=True, slots=True)
class Spoken:
    """The value that an evaluation gives its dog for one trait."""

    evaluation_id: int
    trait: Trait
    month: date
    step: int


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


def recount(*, dog: Dog, at: datetime) -> None:
    """Bring everything that counts for the dog up to date, as from the instant ``at``.

    The caller holds the dog's row: by ``hold_dog_of``, or by having changed the dog.
    The latest accepted evaluation that carries a trait counts for it; one that was put right by a
    correction never does. An evaluation of which nothing counts any more is replaced.
    """
    evaluations = list(
        Evaluation.objects.filter(dog=dog, state__in=(State.ACCEPTED, State.REPLACED))
        .filter(corrected_by__isnull=True)
        .order_by("examined_on", "accepted_at", "pk")
    )
    should = _what_should_count(evaluations)
    does = {
        counted.trait_id: counted
        for counted in CountedValue.objects.filter(dog=dog, counted_until__isnull=True)
    }

    moves: list[Moved] = []
    ended: list[int] = []
    begun: list[CountedValue] = []
    for trait_id in sorted(should.keys() | does.keys()):
        spoken, counted = should.get(trait_id), does.get(trait_id)
        if spoken and counted and _is_same(spoken, counted, dog):
            continue
        if counted:
            key = Key(counted.breed_id, trait_id, counted.sex)
            ended.append(counted.pk)
            moves.append(Moved(key, counted.month, counted.step, -1))
        if spoken:
            key = Key(dog.breed_id, trait_id, dog.sex)
            begun.append(
                CountedValue(
                    breed_id=dog.breed_id,
                    trait_id=trait_id,
                    sex=dog.sex,
                    dog=dog,
                    evaluation_id=spoken.evaluation_id,
                    month=spoken.month,
                    step=spoken.step,
                    counted_from=at,
                )
            )
            moves.append(Moved(key, spoken.month, spoken.step, 1))
    if ended:
        CountedValue.objects.filter(pk__in=ended).update(counted_until=at)
    CountedValue.objects.bulk_create(begun)
    apply_moves(moves, at=at)
    _settle_states(evaluations, {spoken.evaluation_id for spoken in should.values()})


def _what_should_count(evaluations: list[Evaluation]) -> dict[int, Spoken]:
    """Per trait id, the value of the latest evaluation; later ones in the list win."""
    steps: dict[tuple[int, int], list[int]] = defaultdict(list)
    traits: dict[int, Trait] = {}
    readings = Reading.objects.filter(
        evaluation__in=evaluations, trait__is_counted=True
    ).select_related("trait")
    for reading in readings:
        steps[reading.evaluation_id, reading.trait_id].append(reading.step)
        traits[reading.trait_id] = reading.trait
    order = {evaluation.pk: place for place, evaluation in enumerate(evaluations)}
    months = {evaluation.pk: evaluation.examined_on.replace(day=1) for evaluation in evaluations}
    latest: dict[int, Spoken] = {}
    for evaluation_id, trait_id in sorted(steps, key=lambda pair: order[pair[0]]):
        trait = traits[trait_id]
        latest[trait_id] = Spoken(
            evaluation_id, trait, months[evaluation_id], trait.worst(steps[evaluation_id, trait_id])
        )
    return latest


def _is_same(spoken: Spoken, counted: CountedValue, dog: Dog) -> bool:
    return (
        counted.evaluation_id == spoken.evaluation_id
        and counted.step == spoken.step
        and counted.month == spoken.month
        and counted.breed_id == dog.breed_id
        and counted.sex == dog.sex
    )


def _settle_states(evaluations: list[Evaluation], counting: set[int]) -> None:
    """Nothing of it counts: replaced. Something does: accepted."""
    for evaluation in evaluations:
        state = (
            State.ACCEPTED
            if evaluation.pk in counting or _carries_nothing(evaluation)
            else (State.REPLACED)
        )
        if evaluation.state != state:
            Evaluation.objects.filter(pk=evaluation.pk).update(state=state)
            evaluation.state = state


def _carries_nothing(evaluation: Evaluation) -> bool:
    """An evaluation without any counted trait has nothing that could be overtaken."""
    return not evaluation.readings.filter(trait__is_counted=True).exists()


def apply_moves(moves: list[Moved], *, at: datetime) -> None:
    """Add the moves to the cells and to the packed histograms of the current window."""
    by_key: dict[Key, list[Moved]] = defaultdict(list)
    for move in moves:
        by_key[move.key].append(move)
    for key in sorted(by_key):
        _lock_histogram(key, at)
        for move in by_key[key]:
            _move_cell(move)
        _repack(key, by_key[key], at)


def _lock_histogram(key: Key, at: datetime) -> None:
    """Make sure the row exists and hold it; SQLite's transaction holds the only write lock
    already."""
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO registry_storedhistogram"
            " (breed_id, trait_id, sex, last_month, window_months, packed, dogs, changed_at)"
            " VALUES (%s, %s, %s, %s, 0, %s, 0, %s) ON CONFLICT DO NOTHING",
            [
                *key,
                connection.ops.adapt_datefield_value(date(1, 1, 1)),
                Histogram.empty().pack(),
                connection.ops.adapt_datetimefield_value(at),
            ],
        )
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT 1 FROM registry_storedhistogram"
                " WHERE breed_id = %s AND trait_id = %s AND sex = %s FOR UPDATE",
                list(key),
            )


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


def _repack(key: Key, moves: list[Moved], at: datetime) -> None:
    """Change the packed histogram by the moves, or sum it afresh when the window has slid."""
    months = Breed.objects.values_list("window_months", flat=True).get(pk=key.breed_id)
    last_month = current_month(at)
    stored = StoredHistogram.objects.get(breed_id=key.breed_id, trait_id=key.trait_id, sex=key.sex)
    if (stored.last_month, stored.window_months) == (last_month, months):
        histogram = Histogram.unpack(stored.packed)
        start = first_month(last_month, months)
        for move in moves:
            if start <= move.month <= last_month:
                change = histogram.add if move.dogs > 0 else histogram.remove
                histogram = change(move.step, abs(move.dogs))
    else:
        histogram = sum_of_cells(key, last_month=last_month, months=months)
    stored.last_month = last_month
    stored.window_months = months
    stored.packed = histogram.pack()
    stored.dogs = histogram.n
    stored.changed_at = at
    stored.save()


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
            _lock_histogram(key, now)
            _repack(key, [], now)
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
        _lock_histogram(key, at)
        _repack(key, [], at)
