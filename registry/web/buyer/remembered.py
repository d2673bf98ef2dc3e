"""A trait's finished section, remembered by its content.

Everything the markup says follows from what is handed in (readings, counts of the breed, how
clinics differ, standing as issued, names, the day, the language), and that is read anew for every
request. Equal content gives equal markup and any change gives another key, so what is remembered is
never out of date.
Whole pages are remembered alike in ``views``, by the rows they are made of.
"""

from __future__ import annotations

from datetime import date, datetime
from functools import lru_cache

from django.conf import settings
from django.template.loader import get_template
from django.utils.safestring import SafeString

from registry.queries.breed_counts import BreedCounts
from registry.queries.places import IssuedPlace
from registry.queries.public import ReadTrait
from registry.queries.within_dogs import WithinDog
from registry.science.distribution import Histogram
from registry.science.middles import ClinicEffect
from registry.telling.meanings import Moment, meaning


@lru_cache(maxsize=settings.SECTIONS_KEPT)
def section(
    read: ReadTrait,
    histogram: Histogram,
    clinics: tuple[ClinicEffect, ...],
    held: frozenset[tuple[int, int]],
    within: WithinDog | None,
    months: tuple[date, date],
    then: IssuedPlace | None,
    dog: str,
    moment: Moment,
    is_first: bool,
    _language: str | None,
) -> SafeString:
    """The markup of a trait's section; pictures of the first trait alone are printed."""
    pk = read.trait.pk
    told = meaning(
        read,
        counts=BreedCounts(
            {pk: histogram},
            *months,
            held,
            within={pk: within} if within else {},
            clinics={pk: clinics},
        ),
        then=then,
        dog=dog,
        moment=moment,
    )
    template = get_template("buyer/section.html")
    # Django's own output: escaped by the template, and safe as such.
    return SafeString(template.render({"each": told, "is_first": is_first}))


def day_of_reading(now: datetime) -> datetime:
    """The instant cut to its day: within one day the section says the same."""
    return now.replace(hour=0, minute=0, second=0, microsecond=0)
