"""The breed's distribution as everybody may see it, now or at any past instant; and the exact
counts of today, which only those who keep the registry may see."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.utils.dateparse import parse_datetime

from registry import clock
from registry.models import Breed, DistributionCell, Sex, StoredHistogram, Trait
from registry.queries.public_states import first_moment, month_of, state_as_of, state_now
from registry.science.distribution import Histogram, first_month, window


@dataclass(frozen=True, slots=True)
class Distribution:
    """The public counts of a breed and trait over a window of months, both ends in; ``sex`` empty
    for both sexes. ``state_at`` is when this state became public, None before the first;
    ``first_at`` is when the first did, told only of a past instant before it."""

    histogram: Histogram
    sex: str
    first_month: date
    last_month: date
    window_months: int
    as_of: datetime
    state_at: datetime | None
    first_at: datetime | None = None


def distribution(
    *, breed: Breed, trait: Trait, sex: str = "", as_of: datetime | None = None
) -> Distribution:
    """The public distribution in force now, or as it was at ``as_of`` (aware)."""
    now = clock.now()
    first_at = None
    if as_of is not None and as_of < now:
        months = window_in_force(breed, as_of)
        state = state_as_of(breed.pk, trait.pk, as_of)
        if state.at is None:
            first_at = first_moment(breed.pk, trait.pk, now=now)
    else:
        as_of, months = now, breed.window_months
        state = state_now(breed.pk, trait.pk, now=now)
    last = month_of(as_of)
    return Distribution(
        state.of(sex), sex, first_month(last, months), last, months, as_of, state.at, first_at
    )


def histogram_now(*, breed: Breed, trait: Trait, sex: str = "") -> Histogram:
    """Today's exact counts, with what is withheld: from the packed rows, or from the cells where a
    row's window has slid away. For those who keep the registry."""
    last = month_of(clock.now())
    sexes = (sex,) if sex else Sex.values
    total = Histogram.empty()
    rows = StoredHistogram.objects.filter(breed=breed, trait=trait, sex__in=sexes).values_list(
        "sex", "last_month", "window_months", "packed"
    )
    for row_sex, last_month, months, packed in rows:
        if (last_month, months) == (last, breed.window_months):
            total = total.merge(Histogram.unpack(packed))
        else:
            total = total.merge(_from_cells(breed, trait, row_sex, last))
    return total


def window_in_force(breed: Breed, as_of: datetime) -> int:
    """The breed's window, in months, at a past instant."""
    for earlier in breed.window_history:
        until = parse_datetime(earlier["until"])
        if until is not None and as_of < until:
            return int(earlier["months"])
    return breed.window_months


def _from_cells(breed: Breed, trait: Trait, sex: str, last: date) -> Histogram:
    months = breed.window_months
    cells = DistributionCell.objects.filter(breed=breed, trait=trait, sex=sex).filter(
        month__gte=first_month(last, months), month__lte=last
    )
    return window(cells.values_list("month", "step", "dogs"), last, months)
