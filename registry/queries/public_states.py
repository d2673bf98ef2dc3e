"""What everybody may see of a breed's counts: the public state in force now or at a past instant.

A state is a pure function of time: a counted value is in it from its ``public_from`` until before
its ``public_until``, and neither changes once it has passed. The packed rows say the same for the
present, quickly. Nothing that answers the public reads counts anywhere else. Reads only.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import connection
from django.db.models import Min
from django.utils import timezone

from registry.models import CountedValue, Sex
from registry.queries.public import Row, as_date, as_instant
from registry.science.distribution import Histogram
from registry.science.public_states import month_after


@dataclass(frozen=True, slots=True)
class State:
    """The counts by sex that are public from ``at`` on; None before the first state."""

    at: datetime | None
    by_sex: dict[str, Histogram]

    def of(self, sex: str = "") -> Histogram:
        """The counts of a sex, or of both together."""
        if sex:
            return self.by_sex.get(sex) or Histogram.empty()
        whole = Histogram.empty()
        for part in self.by_sex.values():
            whole = whole.merge(part)
        return whole


IS_PUBLIC = "v.public_from <= %s AND (v.public_until IS NULL OR v.public_until > %s)"
"""Of a counted value ``v``: whether the state of an instant holds it; the instant is given
twice."""

_SUMS = (
    "SELECT v.sex, v.step, COUNT(*) FROM registry_countedvalue v"  # noqa: S608 - our own words
    f" WHERE v.breed_id = %s AND v.trait_id = %s AND {IS_PUBLIC} GROUP BY v.sex, v.step"
)
_MOMENT = (
    "SELECT MAX(moment) FROM (SELECT MAX(v.public_from) AS moment FROM registry_countedvalue v"
    " WHERE v.breed_id = %s AND v.trait_id = %s AND v.public_from <= %s"
    " UNION ALL SELECT MAX(v.public_until) FROM registry_countedvalue v"
    " WHERE v.breed_id = %s AND v.trait_id = %s AND v.public_until <= %s) moments"
)
_PACKED = (
    "SELECT s.trait_id, s.settled_month, s.at, s.females, s.males,"
    " s.next_at, s.next_females, s.next_males"
    " FROM registry_publicstate s"
)


def state_now(breed_id: int, trait_id: int, *, now: datetime) -> State:
    """The state in force: from the packed row, or from the values where a month has turned."""
    with connection.cursor() as cursor:
        cursor.execute(f"{_PACKED} WHERE s.breed_id = %s AND s.trait_id = %s", [breed_id, trait_id])
        row = cursor.fetchone()
    return State(None, {}) if row is None else _unpacked(in_force(breed_id, row, now))


def states_now(*, now: datetime) -> dict[tuple[int, int], State]:
    """The states in force of all breeds and traits, by both keys: one query, more only before the
    first deed or round of a month."""
    with connection.cursor() as cursor:
        cursor.execute(_PACKED.replace("s.trait_id,", "s.breed_id, s.trait_id,", 1))
        rows = cursor.fetchall()
    return {(row[0], row[1]): _unpacked(in_force(row[0], row[1:], now)) for row in rows}


def state_as_of(breed_id: int, trait_id: int, as_of: datetime) -> State:
    """The state that was in force at an instant."""
    return State(moment_of(breed_id, trait_id, as_of), summed_state(breed_id, trait_id, as_of))


def summed_state(breed_id: int, trait_id: int, as_of: datetime) -> dict[str, Histogram]:
    """The counts by sex that are public at an instant, from the values."""
    instant = sql_instant(as_of)
    counts: dict[str, list[tuple[int, int]]] = {sex: [] for sex in Sex.values}
    with connection.cursor() as cursor:
        cursor.execute(_SUMS, [breed_id, trait_id, instant, instant])
        for sex, step, dogs in cursor.fetchall():
            counts[sex].append((step, dogs))
    return {sex: Histogram.of_counts(pairs) for sex, pairs in counts.items()}


def moment_of(breed_id: int, trait_id: int, as_of: datetime) -> datetime | None:
    """When the state that was in force at an instant began; None before the first."""
    part = [breed_id, trait_id, sql_instant(as_of)]
    with connection.cursor() as cursor:
        cursor.execute(_MOMENT, part + part)
        (moment,) = cursor.fetchone()
    return as_instant(moment) if moment else None


def first_moment(breed_id: int, trait_id: int, *, now: datetime) -> datetime | None:
    """When the first state of all began; None where there has been none."""
    found = CountedValue.objects.filter(
        breed_id=breed_id, trait_id=trait_id, public_from__lte=now
    ).aggregate(first=Min("public_from"))
    first: datetime | None = found["first"]
    return first


def in_force(breed_id: int, row: Row, now: datetime) -> Row:
    """Of a row of ``_PACKED`` (trait, settled month, then two states): trait, moment, and packed
    females and males of the state in force."""
    trait_id, settled, at, females, males, next_at, next_females, next_males = row
    if as_date(settled) != month_of(now):
        by_sex = summed_state(breed_id, trait_id, now)
        moment = moment_of(breed_id, trait_id, now)
        return (trait_id, moment, *(by_sex[sex].pack() for sex in (Sex.FEMALE, Sex.MALE)))
    if next_at is not None and as_instant(next_at) <= now:
        at, females, males = next_at, next_females, next_males
    return trait_id, as_instant(at) if at else None, bytes(females), bytes(males)


def _unpacked(row: Row) -> State:
    _trait, at, females, males = row
    return State(at, {Sex.FEMALE: Histogram.unpack(females), Sex.MALE: Histogram.unpack(males)})


def month_of(at: datetime) -> date:
    """The month of an instant on the club's calendar, as its first day."""
    return timezone.localdate(at).replace(day=1)


def turn_of(month: date) -> datetime:
    """The first instant of a month on the club's calendar."""
    return timezone.make_aware(datetime(month.year, month.month, 1))  # noqa: DTZ001


def leaves_at(month: date, window_months: int) -> datetime:
    """When a window of so many months leaves a month behind."""
    return turn_of(month_after(month, window_months))


def sql_instant(at: datetime) -> Any:
    """An instant as the database's raw queries take it."""
    return connection.ops.adapt_datetimefield_value(at)
