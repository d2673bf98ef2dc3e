"""How fair the comparison with the other dogs is: what clinics and the years change about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from registry.queries.public import PublicTrait
from registry.science.distribution import Histogram, first_month
from registry.science.middles import ClinicEffect, middle_by_clinic, newer_middle
from registry.wording.fairness import clinics_differ, newer_differ
from registry.wording.standings import TraitWords

NEWER_MONTHS = 36


def clinics_said(
    trait: PublicTrait, counts: Histogram, clinics: Sequence[ClinicEffect]
) -> tuple[str, ...]:
    """How far clinics move the middle dog of a measured trait, where by more than a little."""
    if trait.grades:
        return ()
    moved = middle_by_clinic(counts, clinics, float(trait.resolution), trait.better)
    return clinics_differ(moved, _words(trait)) if moved else ()


def newer_said(
    trait: PublicTrait, by_month: Mapping[date, Histogram], last_month: date
) -> tuple[str, ...]:
    """How the middle dog of the last three years stands among all of the window, where they differ
    by more than a little and by more than chance.

    ``by_month`` holds the public values by month of the exam. Those that came in groups have none,
    so like is compared with like: neither side of the comparison holds them.
    """
    if trait.grades:
        return ()
    begins = first_month(last_month, NEWER_MONTHS)
    whole = newer = Histogram.empty()
    for month, counts in by_month.items():
        whole = whole.merge(counts)
        newer = newer.merge(counts) if month >= begins else newer
    place = newer_middle(whole, newer, trait.better)
    return () if place is None else newer_differ(place, _words(trait))


def _words(trait: PublicTrait) -> TraitWords:
    return TraitWords(trait.better_word, trait.worse_word, trait.joint)
