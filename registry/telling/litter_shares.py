"""How many of the puppies of each birth year were tested, and what that means for a forecast."""

from __future__ import annotations

from collections.abc import Sequence

from registry.queries.litter_shares import BirthYear
from registry.science.standing import FEWEST_TO_COMPARE
from registry.wording.fairness import few_were_tested

YEARS_SHOWN = 10
YEARS_JUDGED = 5


def year_rows(years: Sequence[BirthYear], this_year: int) -> list[list[str]]:
    """Year, puppies, tested, and tested of 100 from 20 puppies on; newest first."""
    return [
        [
            f"{each.year}",
            f"{each.puppies:,}",
            f"{each.tested:,}",
            f"{_of_100(each.tested, each.puppies)}" if each.puppies >= FEWEST_TO_COMPARE else "",
        ]
        for each in reversed(years)
        if each.year > this_year - YEARS_SHOWN
    ]


def caution(years: Sequence[BirthYear], this_year: int) -> tuple[str, ...]:
    """What a forecast cannot know where fewer than half of the puppies of the last five full birth
    years were tested; empty where half or more were, and below 20 puppies."""
    first, last = this_year - YEARS_JUDGED, this_year - 1
    recent = [each for each in years if first <= each.year <= last]
    puppies, tested = (sum(getattr(each, of) for each in recent) for of in ("puppies", "tested"))
    if puppies < FEWEST_TO_COMPARE or 2 * tested >= puppies:
        return ()
    return few_were_tested(max(_of_100(tested, puppies), min(tested, 1)), first, last)


def _of_100(tested: int, puppies: int) -> int:
    return round(100 * tested / puppies)
