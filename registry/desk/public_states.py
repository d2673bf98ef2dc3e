"""What the public may see of the counts, brought up to date by every deed that changes them.

Released values come in and go out singly: their pages show them, so a difference of two states
tells nothing more. Withheld ones wait, in each sex of a breed and trait, until
``FEWEST_TOGETHER`` that were never shown can move at one moment; one that was shown before goes
with them and does not count. A value that stopped counting, or that the window has left behind,
waits in the same way, and so that looks at more than two states tell no more, those that came
together are never parted into fewer than that. Only moments to come are written; one that has
passed is history.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from django.conf import settings
from django.db import connection, transaction

from registry import clock
from registry.models import Breed, PublicState, Sex
from registry.queries.public import as_date, as_instant
from registry.queries.public_states import (
    leaves_at,
    month_of,
    sql_instant,
    summed_state,
    turn_of,
)
from registry.science.distribution import Histogram, first_month
from registry.science.public_states import FEWEST_TOGETHER, may_part, month_after, next_moment

Counts = dict[str, Histogram]


class StateKey(NamedTuple):
    """Which state: a breed and a trait, all sexes."""

    breed_id: int
    trait_id: int


_HELD = (
    "SELECT settled_month, at, females, males, next_at, next_females, next_males"
    " FROM registry_publicstate WHERE breed_id = %s AND trait_id = %s"
)
_BEGIN = """
    INSERT INTO registry_publicstate (breed_id, trait_id, settled_month, females, males)
    VALUES (%s, %s, %s, %s, %s) ON CONFLICT DO NOTHING
"""
_WRITE = """
    UPDATE registry_publicstate
    SET settled_month = %s, at = %s, females = %s, males = %s,
        next_at = %s, next_females = %s, next_males = %s
    WHERE breed_id = %s AND trait_id = %s
"""


@dataclass(slots=True)
class HeldState:
    """The state of a breed and trait, held until the commit while a deed changes what counts.

    ``shown`` is public as of ``shown_at``, ``coming`` from ``coming_at`` on, which lies ahead.
    ``moment`` is when the deed's changes become public; ``moved`` collects them. ``came`` and
    ``gone`` are the sexes in which withheld values began to wait.
    """

    key: StateKey
    at: datetime
    window_months: int
    settled_month: date
    shown_at: datetime | None
    shown: Counts
    coming_at: datetime | None
    coming: Counts | None
    moment: datetime
    moved: list[tuple[str, int, int]] = field(default_factory=list)
    came: set[str] = field(default_factory=set)
    gone: set[str] = field(default_factory=set)

    def come(
        self, *, sex: str, month: date, step: int, is_released: bool
    ) -> tuple[datetime | None, datetime | None]:
        """A value begins to count: from when until when it is public, as far as is known."""
        if not is_released:
            self.came.add(sex)
            return None, None
        until = leaves_at(month, self.window_months)
        if until <= self.moment:
            return None, None
        self.moved.append((sex, step, 1))
        return self.moment, until

    def go(
        self,
        *,
        sex: str,
        step: int,
        public_from: datetime | None,
        public_until: datetime | None,
        is_released: bool,
    ) -> datetime | None:
        """A value ceases to count: until when it is public, as far as is known."""
        if public_from is None:
            return None
        if not is_released:
            self.gone.add(sex)
            return public_until
        if public_until is not None and public_until <= self.moment:
            return public_until
        self.moved.append((sex, step, -1))
        return self.moment

    def close(self) -> None:
        """Let groups that are large enough move, and write the state; after the values."""
        if self.settled_month != month_of(self.moment):
            settle(self)
            return
        for sex in sorted(self.came):
            self.moved += _let_come(self, sex)
        for sex in sorted(self.gone):
            self.moved += _let_go(self, sex)
        if self.moved:
            changed = dict(self.coming or self.shown)
            for sex, step, dogs in self.moved:
                change = changed[sex].add if dogs > 0 else changed[sex].remove
                changed[sex] = change(step, abs(dogs))
            _change(self, changed)
            _write(self, self.settled_month)


def hold_states(keys: Iterable[StateKey], *, at: datetime) -> dict[StateKey, HeldState]:
    """Hold the states in the order of their keys, made if missing."""
    wanted = sorted(set(keys))
    rows = {key: _hold(key) for key in wanted}
    # Read once the rows are held: whoever changes a window settles the breed's states after it.
    breeds = {key.breed_id for key in wanted}
    months = dict(Breed.objects.filter(pk__in=breeds).values_list("pk", "window_months"))
    return {key: _held(key, row, months[key.breed_id], at) for key, row in rows.items()}


def _hold(key: StateKey) -> tuple[Any, ...]:
    """The key's row, locked. On SQLite the transaction is the one writer already."""
    held = _HELD + (" FOR UPDATE" if connection.vendor == "postgresql" else "")
    with connection.cursor() as cursor:
        cursor.execute(held, key)
        row = cursor.fetchone()
        if row is None:
            nothing = Histogram.empty().pack()
            long_ago = connection.ops.adapt_datefield_value(date(1, 1, 1))
            cursor.execute(_BEGIN, [*key, long_ago, nothing, nothing])
            cursor.execute(held, key)
            row = cursor.fetchone()
    return tuple(row)


def _held(key: StateKey, row: tuple[Any, ...], window_months: int, at: datetime) -> HeldState:
    settled, shown_at, females, males, next_at, next_females, next_males = row
    shown, shown_from = _counts(females, males), _instant(shown_at)
    coming_at = _instant(next_at)
    coming = None if coming_at is None else _counts(next_females, next_males)
    latest = coming_at or shown_from
    if coming is not None and coming_at is not None and coming_at <= at:
        shown, shown_from, coming, coming_at = coming, coming_at, None, None
    moment = next_moment(
        at,
        latest=latest,
        pending=coming_at,
        turn=turn_of(month_after(month_of(at), 1)),
        apart=timedelta(seconds=settings.PUBLIC_STATE_SECONDS),
    )
    return HeldState(
        key,
        at,
        window_months,
        as_date(settled),
        shown_from,
        shown,
        coming_at,
        coming,
        moment,
    )


def _counts(females: Any, males: Any) -> Counts:
    return {Sex.FEMALE: Histogram.unpack(females), Sex.MALE: Histogram.unpack(males)}


def _instant(value: Any) -> datetime | None:
    return as_instant(value) if value else None


def _change(state: HeldState, changed: Counts) -> None:
    """Let ``changed`` be public from the state's moment on."""
    if state.moment <= state.at:
        state.shown_at, state.shown = state.moment, changed
        state.coming_at = state.coming = None
    else:
        state.coming_at, state.coming = state.moment, changed


def _write(state: HeldState, month: date) -> None:
    """Write the row, brought to the window that ends with ``month``."""
    with connection.cursor() as cursor:
        cursor.execute(
            _WRITE,
            [
                _day(month),
                sql_instant(state.shown_at) if state.shown_at else None,
                *_packed(state.shown),
                sql_instant(state.coming_at) if state.coming_at else None,
                *(_packed(state.coming) if state.coming else (None, None)),
                *state.key,
            ],
        )


def _packed(counts: Counts) -> tuple[bytes, bytes]:
    return counts[Sex.FEMALE].pack(), counts[Sex.MALE].pack()


# --- groups of withheld values ---

_IS_WITHHELD = (
    "EXISTS (SELECT 1 FROM registry_evaluation e WHERE e.id = v.evaluation_id"
    " AND NOT e.consent_to_publish)"
)
_STRATUM = "v.breed_id = %s AND v.trait_id = %s AND v.sex = %s"
_MAY_COME = f"{_STRATUM} AND v.public_from IS NULL AND v.counted_until IS NULL AND v.month >= %s"
_STAYS = f"{_STRATUM} AND v.public_from IS NOT NULL AND v.public_until IS NULL"
_NEVER_SHOWN = "CASE WHEN e.consent_changed_at IS NULL THEN 1 ELSE 0 END"
_WITHHELD = """
    FROM registry_countedvalue v JOIN registry_evaluation e ON e.id = v.evaluation_id
    WHERE NOT e.consent_to_publish AND
"""
# Where nothing waits to go, nobody need look at all that stay. Each part has an index of its own.
_ANY_WAITS = (
    f"SELECT EXISTS (SELECT 1 FROM registry_countedvalue v"  # noqa: S608 - our own words
    f" WHERE {_STAYS} AND v.counted_until IS NOT NULL)"
    f" OR EXISTS (SELECT 1 FROM registry_countedvalue v WHERE {_STAYS} AND v.month < %s)"
)
_WAITS = "v.counted_until IS NOT NULL OR v.month < %s"
_COME = "UPDATE registry_countedvalue SET public_from = %s, came_in_group = %s WHERE id = %s"
_GO = "UPDATE registry_countedvalue SET public_until = %s, left_in_group = %s WHERE id = %s"


def _move_groups(state: HeldState, sex: str) -> list[tuple[str, int, int]]:
    """Let those that wait come, and those that wait go, where they are enough; what moved."""
    return _let_come(state, sex) + _let_go(state, sex)


def _let_come(state: HeldState, sex: str) -> list[tuple[str, int, int]]:
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT v.id, v.step, {_NEVER_SHOWN} {_WITHHELD} {_MAY_COME}",
            [*state.key, sex, _first_day(state)],
        )
        coming = cursor.fetchall()
        # One that was shown before goes with others, and does not count: who remembers it must not
        # be able to take it away from five and keep four.
        if sum(never for _pk, _step, never in coming) < FEWEST_TOGETHER:
            return []
        moment = sql_instant(state.moment)
        cursor.executemany(_COME, [(moment, True, pk) for pk, _step, _never in coming])
    return [(sex, step, 1) for _pk, step, _never in coming]


def _let_go(state: HeldState, sex: str) -> list[tuple[str, int, int]]:
    stratum: list[Any] = [*state.key, sex]
    start = _first_day(state)
    with connection.cursor() as cursor:
        cursor.execute(_ANY_WAITS, [*stratum, *stratum, start])
        if not cursor.fetchone()[0]:
            return []
        cursor.execute(
            f"SELECT v.public_from, SUM({_NEVER_SHOWN}),"
            f" SUM(CASE WHEN {_WAITS} THEN {_NEVER_SHOWN} ELSE 0 END)"
            f" {_WITHHELD} {_STAYS} GROUP BY v.public_from",
            [start, *stratum],
        )
        groups = cursor.fetchall()
        free = [group for group in groups if may_part(never=group[1], waiting=group[2])]
        if sum(waiting for _from, _never, waiting in free) < FEWEST_TOGETHER:
            return []
        cursor.execute(
            f"SELECT v.id, v.step, v.public_from {_WITHHELD} {_STAYS} AND ({_WAITS})",
            [*stratum, start],
        )
        moments = {group[0] for group in free}
        going = [row for row in cursor.fetchall() if row[2] in moments]
        moment = sql_instant(state.moment)
        cursor.executemany(_GO, [(moment, True, pk) for pk, _step, _from in going])
    return [(sex, step, -1) for _pk, step, _from in going]


def _first_day(state: HeldState) -> Any:
    """The first month of the window at the state's moment, for the database."""
    return _day(first_month(month_of(state.moment), state.window_months))


# --- a state as a whole ---

_BOTH = "v.breed_id = %s AND v.trait_id = %s"
_SET = "UPDATE registry_countedvalue AS v SET"
_IS_RELEASED = f"NOT {_IS_WITHHELD}"
_COME_NO_MORE = (
    f"{_SET} public_from = NULL, public_until = NULL, came_in_group = %s, left_in_group = %s"
    f" WHERE {_BOTH} AND v.public_from > %s AND (v.came_in_group OR {_IS_WITHHELD})"
)
_GO_NO_MORE = (
    f"{_SET} public_until = NULL, left_in_group = %s"
    f" WHERE {_BOTH} AND v.public_until > %s AND (v.left_in_group OR {_IS_WITHHELD})"
)
_RELEASED_COME = f"{_BOTH} AND v.public_from IS NULL AND v.counted_until IS NULL AND {_IS_RELEASED}"
_RELEASED_STAY = (
    f"{_BOTH} AND v.public_from IS NOT NULL AND v.counted_until IS NULL"
    f" AND (v.public_until IS NULL OR v.public_until > %s) AND {_IS_RELEASED}"
)
_RELEASED_GO = (
    f"{_SET} public_until = %s WHERE {_BOTH} AND v.public_from IS NOT NULL"
    f" AND v.counted_until IS NOT NULL AND (v.public_until IS NULL OR v.public_until > %s)"
    f" AND {_IS_RELEASED}"
)
_BACK = f"{_BOTH} AND v.counted_until IS NULL AND v.public_until <= %s AND v.month >= %s"
_COLUMNS = "breed_id, trait_id, sex, dog_id, evaluation_id, month, step"


def settle(state: HeldState) -> None:
    """Bring the held state wholly up to date: whatever of its values may come or go, does."""
    with connection.cursor() as cursor:
        both, at = list(state.key), sql_instant(state.at)
        moment = sql_instant(state.moment)
        # A group that has not become public yet is gathered anew: it may be one fewer by now.
        cursor.execute(_COME_NO_MORE, [False, False, *both, at])
        cursor.execute(_GO_NO_MORE, [False, *both, at])
        _bring_back(cursor, state)
        for month in _months(cursor, _RELEASED_COME, both):
            until = leaves_at(month, state.window_months)
            if until > state.moment:
                cursor.execute(
                    f"{_SET} public_from = %s, public_until = %s"
                    f" WHERE v.month = %s AND {_RELEASED_COME}",
                    [moment, sql_instant(until), _day(month), *both],
                )
        for month in _months(cursor, _RELEASED_STAY, [*both, moment]):
            until = sql_instant(max(leaves_at(month, state.window_months), state.moment))
            cursor.execute(
                f"{_SET} public_until = %s WHERE v.month = %s AND {_RELEASED_STAY}"
                " AND (v.public_until IS NULL OR v.public_until <> %s)",
                [until, _day(month), *both, moment, until],
            )
        cursor.execute(_RELEASED_GO, [moment, *both, moment])
    for sex in Sex.values:
        _move_groups(state, sex)
    _settle_packed(state)


def _settle_packed(state: HeldState) -> None:
    """Pack the sums of the values, as of now and as of the state's moment."""
    now = summed_state(*state.key, state.at)
    then = summed_state(*state.key, state.moment)
    state.coming_at = state.coming = None
    if state.moment > state.at and now != state.shown:
        # The month has turned since, and released values have left at the turn.
        turn = turn_of(month_of(state.at))
        state.shown, state.shown_at = now, max(turn, state.shown_at or turn)
    if then != state.shown:
        _change(state, then)
    _write(state, month_of(state.coming_at or state.at))


def _bring_back(cursor: Any, state: HeldState) -> None:
    """A longer window takes in again what a shorter one had left behind: that counts on, as a value
    of its own from now on, so that what was public before stays as it was."""
    first = first_month(month_of(state.moment), state.window_months)
    at = sql_instant(state.at)
    cursor.execute(
        f"SELECT v.id FROM registry_countedvalue v WHERE {_BACK}",  # noqa: S608 - our own words
        [*state.key, at, _day(first)],
    )
    for (pk,) in cursor.fetchall():
        cursor.execute(
            "UPDATE registry_countedvalue SET counted_until = %s WHERE id = %s", [at, pk]
        )
        cursor.execute(
            f"INSERT INTO registry_countedvalue ({_COLUMNS}, counted_from)"  # noqa: S608
            f" SELECT {_COLUMNS}, %s FROM registry_countedvalue WHERE id = %s",
            [at, pk],
        )


def _months(cursor: Any, condition: str, parameters: list[Any]) -> list[date]:
    cursor.execute(
        f"SELECT DISTINCT v.month FROM registry_countedvalue v WHERE {condition}",  # noqa: S608
        parameters,
    )
    return [as_date(month) for (month,) in cursor.fetchall()]


def _day(day: date) -> Any:
    return connection.ops.adapt_datefield_value(day)


def settle_states(keys: Iterable[StateKey], *, at: datetime) -> None:
    """Bring these states wholly up to date; inside the caller's transaction."""
    for state in hold_states(keys, at=at).values():
        settle(state)


def settle_breed(breed_id: int, *, at: datetime) -> None:
    """The same for all states of a breed; inside the caller's transaction."""
    rows = PublicState.objects.filter(breed_id=breed_id).values_list("breed_id", "trait_id")
    settle_states((StateKey(*row) for row in rows), at=at)


def settle_all(*, at: datetime) -> None:
    """The same for every breed and trait that has a counted value or a state; inside the caller's
    transaction."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT breed_id, trait_id FROM registry_countedvalue"
            " UNION SELECT breed_id, trait_id FROM registry_publicstate"
        )
        keys = [StateKey(*row) for row in cursor.fetchall()]
    settle_states(keys, at=at)


def settle_when_due(*, at: datetime | None = None) -> int:
    """Bring every state into the current month's window that is not yet; returns how many.

    Readers sum the values when they meet an old row; withheld values that the window has left
    behind go by this, or by the breed's next deed.
    """
    now = at or clock.now()
    due = PublicState.objects.exclude(settled_month=month_of(now))
    keys = sorted(StateKey(*row) for row in due.values_list("breed_id", "trait_id"))
    for key in keys:
        with transaction.atomic():
            settle_states([key], at=now)
    return len(keys)
