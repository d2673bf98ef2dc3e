"""How a breed's forecasts turned out, as pages and programs read it.

Frozen facts of what the breeding runs found; ``registry.desk.forecast_outcomes`` writes it, and
what its numbers are is told by ``registry.science.forecast_check``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef

from registry.models import ForecastCheck
from registry.science.forecast_check import SAID, Estimate, Later

_SLOPE_IS_NEAR = (0.8, 1.2)  # Nearer to 1 than so is not worth a warning: our choice, no source.


@dataclass(frozen=True, slots=True)
class Numbers:
    """What a check found, as it was stored; see ``registry.science.forecast_check.Check``."""

    inside: Estimate
    lean: Estimate
    sd: float
    slope: Estimate | None
    parts: tuple[int, ...]
    later: Later | None

    @property
    def range_is_off(self) -> bool:
        """Whether another share of puppies came out inside their range than was said: by chance
        alone hardly, and by so much that it shows in a number of 100."""
        return self.inside.leaves_out(SAID) and round(100 * self.inside.value) != round(100 * SAID)

    @property
    def slope_is_off(self) -> bool:
        """Whether litters differed clearly less, or clearly more, than was forecast."""
        low, high = _SLOPE_IS_NEAR
        return (
            self.slope is not None
            and self.slope.leaves_out(1)
            and not low <= self.slope.value <= high
        )


@dataclass(frozen=True, slots=True)
class Outcome:
    """A trait's latest check, and the run that made it; ``numbers`` is None with too few."""

    run: int
    run_at: datetime
    puppies: int
    litters: int
    numbers: Numbers | None


def forecast_outcomes(breed_pk: int) -> dict[int, Outcome]:
    """The latest check of each trait that has one, by the trait's key: one query."""
    of_breed = ForecastCheck.objects.filter(run__breed=breed_pk)
    later = of_breed.filter(trait=OuterRef("trait"), run__number__gt=OuterRef("run__number"))
    rows = of_breed.filter(~Exists(later)).select_related("run").defer("members")
    return {
        row.trait_id: Outcome(
            run=row.run.number,
            run_at=finished_at,
            puppies=row.puppies,
            litters=row.litters,
            numbers=_numbers(row.found),
        )
        for row in rows
        if (finished_at := row.run.finished_at)
    }


def _numbers(found: Mapping[str, Any]) -> Numbers | None:
    if not found:
        return None
    later = found["later"]
    return Numbers(
        inside=Estimate(*found["inside"]),
        lean=Estimate(*found["lean"]),
        sd=found["sd"],
        slope=found["slope"] and Estimate(*found["slope"]),
        parts=tuple(found["parts"]),
        later=later
        and Later(later["dogs"], *(Estimate(*later[name]) for name in ("lean", "slope", "ratio"))),
    )
