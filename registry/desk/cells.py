"""The counts themselves: monthly cells, and the packed histogram that answers a request.

Moves come in from ``counting``, which knows which value of a dog counts; here they are added up, in
the caller's transaction. Histogram rows are locked in key order, so that two deeds on one breed
queue instead of deadlocking. The rolling window is moved and changed here too.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime
from typing import NamedTuple

from django.db import connection, transaction
from django.utils import timezone

from registry import clock
from registry.desk.public_states import settle_breed
from registry.models import Breed, DistributionCell, StoredHistogram
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
    now = at or clock.now()
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
    settle_breed(breed.pk, at=at)
    rows = StoredHistogram.objects.filter(breed=breed).values_list("breed_id", "trait_id", "sex")
    for key in sorted(Key(*row) for row in rows):
        _repack(key, _hold_histogram(key, at), [], at)
