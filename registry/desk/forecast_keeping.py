"""Which forecasts a breeding run keeps: for each litter that is new in its pedigree, what pages
showed of that pair before.

No page that is read writes anything. The run before the one that first holds a puppy of the litter
is what pages spoke from until then, and its columns are still there. Nothing of the litter was in
it, and it was finished before the puppies could be examined: else no forecast is kept. Nor is one
that no page showed, since a parent's result was withheld or a parent came later.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.utils import timezone
from numpy.typing import NDArray

from registry.desk.breeding_inputs import Inputs
from registry.desk.breeding_store import RUNS_WITH_COLUMNS
from registry.models import Breed, BreedingRun, Dog, KeptForecast, RunState, TraitRun
from registry.queries.breeding import hidden_dogs
from registry.queries.run_table import RunTable, run_table
from registry.science.inbreeding import inbreeding
from registry.science.litter import forecast
from registry.science.mixed_model import Variances
from registry.science.pedigree import Pedigree

YOUNGEST_EXAMINED_DAYS = 16 * 7
"""A run that was finished later than this after the birth gives no forecast: the puppies could have
been examined by then, though nobody had told the register. From 16 weeks of age joints are screened
(common practice, no source)."""
ONE_BIRTH_DAYS = 30
"""Puppies of one dam whose days of birth follow each other by no more are of one litter, whatever
sire is on record: a day or a sire that is corrected makes no new litter."""

_EPOCH = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Litter:
    """A litter in the inputs: places of its parents, and the first day on which one was born."""

    sire: int
    dam: int
    born: int

    @property
    def born_on(self) -> date:
        """The day of birth."""
        return _EPOCH + timedelta(days=self.born)


def forecasts_to_keep(breed: Breed, inputs: Inputs) -> list[KeptForecast]:
    """The forecasts of all litters that are new in the inputs, unsaved and without ``kept_in``.

    Call it while the columns of earlier runs are still there.
    """
    done = BreedingRun.objects.filter(breed=breed, state=RunState.DONE).order_by("-number")
    runs = [(run, run_table(run.pk)) for run in done[:RUNS_WITH_COLUMNS]]
    if not runs or not len(runs[0][1].dog):
        return []
    # What a former run held of a litter has been decided on by the run after it.
    litters = new_litters(inputs, int(runs[0][1].dog[-1]))
    kept: list[KeptForecast] = []
    for run, table in runs:
        in_time = [litter for litter in litters if _is_in_time(run, litter)]
        kept += _forecasts(breed, run, table, inputs, in_time)
        litters = [litter for litter in litters if not _is_in_time(run, litter)]
    return kept


def _is_in_time(run: BreedingRun, litter: Litter) -> bool:
    if run.finished_at is None:
        return False
    last_day = litter.born_on + timedelta(days=YOUNGEST_EXAMINED_DAYS)
    return timezone.localdate(run.finished_at) < last_day


def new_litters(inputs: Inputs, last_dog: int) -> list[Litter]:
    """The litters of the breed of which every puppy's key is greater than ``last_dog``, both
    parents known and of the breed."""
    of = np.flatnonzero(inputs.is_of_breed & (inputs.dam >= 0))
    of = of[np.lexsort((inputs.born[of], inputs.dam[of]))]
    if not len(of):
        return []
    dam, born = inputs.dam[of], inputs.born[of]
    is_first = np.ones(len(of), dtype=np.bool_)
    is_first[1:] = (np.diff(dam) != 0) | (np.diff(born) > ONE_BIRTH_DAYS)
    starts = np.flatnonzero(is_first)
    oldest = np.minimum.reduceat(inputs.dog[of], starts)
    return [
        litter
        for birth in np.flatnonzero(oldest > last_dog).tolist()
        for litter in _of_birth(inputs, of[starts[birth] : _end(starts, birth, len(of))])
    ]


def _end(starts: NDArray[np.intp], birth: int, end: int) -> int:
    return int(starts[birth + 1]) if birth + 1 < len(starts) else end


def _of_birth(inputs: Inputs, puppies: NDArray[np.intp]) -> Iterator[Litter]:
    """The litters of one birth: one for each sire on record."""
    dam, born = int(inputs.dam[puppies[0]]), int(inputs.born[puppies].min())
    if not inputs.is_of_breed[dam]:
        return
    for sire in np.unique(inputs.sire[puppies]).tolist():
        if sire >= 0 and inputs.is_of_breed[sire]:
            yield Litter(sire, dam, born)


def _forecasts(
    breed: Breed, run: BreedingRun, table: RunTable, inputs: Inputs, litters: Sequence[Litter]
) -> Iterator[KeptForecast]:
    """What the run's pages said of these litters, of each trait that was shown."""
    keys = inputs.dog[[(each.sire, each.dam) for each in litters]] if litters else None
    if keys is None:
        return
    places = table.places_of(keys)
    is_known: NDArray[np.bool_] = np.min(places, axis=1) >= 0
    places, keys = places[is_known], keys[is_known]
    known = [litter for litter, is_there in zip(litters, is_known, strict=True) if is_there]
    related = _inbreeding_of(table, places)
    ids = dict(Dog.objects.filter(pk__in=np.unique(keys).tolist()).values_list("pk", "public_id"))
    # A normal distribution of places in a row of grades is no forecast of grades.
    for of in run.traits.filter(has_values=True).select_related("trait").order_by("trait_id"):
        if of.trait.is_graded:
            continue
        hidden = hidden_dogs(breed.pk, of.trait_id)
        for at, litter in enumerate(known):
            if hidden & {int(key) for key in keys[at]}:
                continue
            sire, dam = (ids[int(key)] for key in keys[at])
            kept = _forecast(of, table, (int(places[at, 0]), int(places[at, 1])), related[at])
            kept.breed, kept.run, kept.born_on = breed, run, litter.born_on
            kept.sire, kept.dam, kept.last_dog = sire, dam, int(table.dog[-1])
            yield kept


def _inbreeding_of(table: RunTable, pairs: NDArray[np.int64]) -> list[float]:
    """The inbreeding to expect of each pair's puppies, as if they stood in the run's pedigree."""
    sire, dam = table.sire.astype(np.int64), table.dam.astype(np.int64)
    whole = Pedigree.of(np.concatenate([sire, pairs[:, 0]]), np.concatenate([dam, pairs[:, 1]]))
    found: list[float] = inbreeding(whole)[len(sire) :].tolist()
    return found


def _forecast(
    of: TraitRun, table: RunTable, pair: tuple[int, int], expected: float
) -> KeptForecast:
    value, error = table.value(of.trait_id), table.error_variance(of.trait_id)
    sire, dam = pair
    said = forecast(
        sire_value=float(value[sire]),
        dam_value=float(value[dam]),
        sire_error_variance=float(error[sire]),
        dam_error_variance=float(error[dam]),
        sire_inbreeding=float(table.inbreeding[sire]),
        dam_inbreeding=float(table.inbreeding[dam]),
        kinship=expected,
        variances=Variances(of.additive or 0.0, of.litter or 0.0, of.residual or 0.0),
        base=of.base or 0.0,
        better=of.trait.better_steps,
    )
    return KeptForecast(
        trait=of.trait,
        base=of.base or 0.0,
        mean=said.mean,
        parent_variance=said.parent_variance,
        mendelian_variance=said.mendelian_variance,
        litter_variance=said.litter_variance,
        residual_variance=said.residual_variance,
        inbreeding=said.inbreeding,
    )
