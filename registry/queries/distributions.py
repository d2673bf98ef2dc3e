"""The breed's distribution as of now or of any past instant, and where a dog stands in it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from registry import clock
from registry.models import Breed, CountedValue, DistributionCell, Sex, StoredHistogram, Trait
from registry.science.distribution import Histogram, first_month, window


@dataclass(frozen=True, slots=True)
class Distribution:
    """Counts of a breed and trait over a window of months, both ends in; ``sex`` empty for both
    sexes."""

    histogram: Histogram
    sex: str
    first_month: date
    last_month: date
    window_months: int
    as_of: datetime


def distribution(
    *, breed: Breed, trait: Trait, sex: str = "", as_of: datetime | None = None
) -> Distribution:
    """The distribution as it is served now, or as it was served at ``as_of`` (aware)."""
    now = clock.now()
    if as_of is not None and as_of < now:
        months = window_in_force(breed, as_of)
        last = _month(as_of)
        histogram = histogram_as_of(breed=breed, trait=trait, sex=sex, as_of=as_of)
    else:
        as_of, months, last = now, breed.window_months, _month(now)
        histogram = histogram_now(breed=breed, trait=trait, sex=sex)
    return Distribution(histogram, sex, first_month(last, months), last, months, as_of)


def histogram_now(*, breed: Breed, trait: Trait, sex: str = "") -> Histogram:
    """Today's counts: from the packed rows, or from the cells where a row's window has slid
    away."""
    last = _month(clock.now())
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


def histogram_as_of(*, breed: Breed, trait: Trait, sex: str = "", as_of: datetime) -> Histogram:
    """The counts at a past instant, from the values that counted then."""
    last = _month(as_of)
    months = window_in_force(breed, as_of)
    rows = CountedValue.objects.filter(breed=breed, trait=trait, counted_from__lte=as_of).filter(
        Q(counted_until__isnull=True) | Q(counted_until__gt=as_of)
    )
    if sex:
        rows = rows.filter(sex=sex)
    inside = rows.filter(month__gte=first_month(last, months), month__lte=last)
    return Histogram.of_steps(inside.values_list("step", flat=True))


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


def _month(at: datetime) -> date:
    return timezone.localdate(at).replace(day=1)
