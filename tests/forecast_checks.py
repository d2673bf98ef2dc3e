"""Store what a breeding run found of its breed's forecasts, from given numbers."""

from __future__ import annotations

from typing import Any

from registry.models import BreedingRun, ForecastCheck, Trait

FOUND: dict[str, Any] = {
    "inside": [0.73, 0.67, 0.79],
    "lean": [0.012, 0.004, 0.02],
    "sd": 0.11,
    "slope": [0.5, 0.2, 0.75],
    "parts": [60, 62, 70, 90, 130],
    "later": {
        "dogs": 412,
        "lean": [0.01, -0.01, 0.03],
        "slope": [0.9, 0.7, 1.1],
        "ratio": [0.6, 0.4, 0.8],
    },
}


def make_check(
    run: BreedingRun, *, trait: str = "hip-laxity", puppies: int = 412, litters: int = 91,
    **changed: Any,
) -> ForecastCheck:  # fmt: skip
    """A check with numbers that are off in every way; ``found={}`` is one with too few."""
    found = changed.pop("found", FOUND | changed)
    return ForecastCheck.objects.create(
        run=run,
        trait=Trait.objects.get(slug=trait),
        puppies=puppies,
        litters=litters,
        found=found,
    )
