"""How long it takes to say where one dog stands in its breed, and whether the breed's size matters.

Measured is what a page does: the breed's packed histograms, then the standing. The reference reads
the value of every counting dog of the window with one bare query and counts with numpy.
"""

from __future__ import annotations

import numpy as np
from django.db import connection
from django.utils import timezone

from registry.models import Breed, Trait
from registry.queries.breed_counts import breed_counts
from registry.queries.distributions import histogram_now
from registry.science.distribution import Histogram
from registry.science.standing import Standing, standing
from tests.bench.club import LARGEST, SMALLEST, breed_named
from tests.bench.rounds import QUICK, Row, Turns, in_turns, take_turns

ROUNDS = 3 if QUICK else 15
_RAW = (
    "SELECT step FROM registry_countedvalue WHERE breed_id = %s AND trait_id = %s"
    " AND counted_until IS NULL AND month BETWEEN %s AND %s"
)
_STEP = 38


def run() -> list[Row]:
    """Return the rows of the standing: against raw rows, and large breed against small."""
    trait = Trait.objects.get(slug="hip-laxity")
    large, small = breed_named(LARGEST), breed_named(SMALLEST)
    assert _packed(large, trait) == _from_raw(large, trait)
    dogs, few = _packed(large, trait).n, _packed(small, trait).n
    raw = in_turns(
        lambda: _from_raw(large, trait), lambda: _packed(large, trait), rounds=min(ROUNDS, 7)
    )
    sizes = Turns(
        *take_turns(
            [lambda: _packed(large, trait), lambda: _packed(small, trait)],
            rounds=ROUNDS,
            times=20 if QUICK else 300,
        )
    )
    return [
        raw.row(
            what="standing of one dog in the largest breed",
            against="the same from raw rows (time of these over time of ours)",
            goal=">= 100",
            n=f"{dogs:,} dogs in the window",
            detail="raw rows: one value a dog, bare SQL and numpy",
        ),
        sizes.row(
            what="standing in the largest breed",
            against="standing in a small breed",
            goal="0.8 to 1.2",
            n=f"{dogs:,} dogs and {few:,} dogs",
        ),
    ]


def _packed(breed: Breed, trait: Trait) -> Standing:
    # One trait alone: the largest breed has more of them than the small one.
    return standing(histogram_now(breed=breed, trait=trait), _STEP, trait.better_steps)


def _from_raw(breed: Breed, trait: Trait) -> Standing:
    months = breed_counts(breed.pk, window_months=breed.window_months, now=timezone.now())
    ends = [
        connection.ops.adapt_datefield_value(day) for day in (months.first_month, months.last_month)
    ]
    with connection.cursor() as cursor:
        cursor.execute(_RAW, [breed.pk, trait.pk, *ends])
        steps = np.array(cursor.fetchall(), dtype=np.int64)[:, 0]
    first = int(steps.min())
    return standing(Histogram(first, np.bincount(steps - first)), _STEP, trait.better_steps)
