"""The latest breeding run of each breed in one line, for the page where a dog is chosen. Reads
only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Max

from registry.models import BreedingRun, RunState


@dataclass(frozen=True, slots=True)
class RunLine:
    """A breed and its latest run that was done."""

    breed: str
    breed_slug: str
    number: int
    finished_at: datetime
    dogs: int


def run_lines() -> list[RunLine]:
    """The breeds that have a run, by name: two queries."""
    done = BreedingRun.objects.filter(state=RunState.DONE, finished_at__isnull=False)
    latest = done.values("breed").annotate(latest=Max("number")).values_list("breed", "latest")
    wanted = set(latest)
    return [
        RunLine(run.breed.name, run.breed.slug, run.number, run.finished_at, run.dogs)
        for run in done.select_related("breed").order_by("breed__name")
        if (run.breed_id, run.number) in wanted and run.finished_at is not None
    ]
