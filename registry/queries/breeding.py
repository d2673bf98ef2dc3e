"""A breed's latest breeding run, as pages and programs read it.

Frozen facts of the run and its traits; the columns of every dog as arrays, unpacked once a
process; and what of them may be shown. A run is computed and stored by ``registry.desk.breeding``;
who may be mated with whom is in ``registry.queries.mates``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.db import connection

from registry.models import BreedingRun, RunState, TraitRun, VariancesFrom
from registry.queries.public import PublicDog, PublicTrait
from registry.queries.public_dogs import public_traits
from registry.queries.run_table import RunTable, run_table
from registry.science.grade_forecast import GradedBreed
from registry.science.mixed_model import Variances

__all__ = [
    "DogValue",
    "RunFacts",
    "RunTable",
    "TraitFacts",
    "TraitWithout",
    "breeding_value_of",
    "changes_since",
    "dog_value",
    "hidden_dogs",
    "latest_run",
    "run_table",
    "runs_of",
    "trend_of",
    "withheld_traits",
]


@dataclass(frozen=True, slots=True)
class TraitFacts:
    """What a run found of a trait, in the trait's unit.

    ``base`` is the expected record of a dog whose breeding value is 0, ``middle`` the median record
    of the tested dogs. Values and variances of a graded trait are those of the liability behind its
    grades, and ``grades`` holds what its forecasts need. ``average`` is the mean breeding value of
    the dogs born in the breed's latest five years, ``best`` the better end of the trait's scale.
    ``notes`` are dictionaries with a ``code``.
    Standard errors are None where the variances are the trait's prior.
    """

    trait: PublicTrait
    records: int
    variances: Variances
    variances_from: str
    heritability: float
    heritability_se: float | None
    litter_share: float
    method: str
    base: float
    middle: float
    value_sd: float
    mean_reliability: float
    average: float
    best: float
    grades: GradedBreed | None
    notes: tuple[Mapping[str, Any], ...]

    def __hash__(self) -> int:
        """By the trait: the notes have no hash of their own."""
        return hash(self.trait)

    @property
    def is_borrowed(self) -> bool:
        """Whether the heritability is taken from published studies, not from this breed."""
        return self.variances_from == VariancesFrom.PRIOR

    @property
    def is_ranked(self) -> bool:
        """Whether dogs may be ranked: not by what the breed's own results do not show to be
        inherited, as a grade of few dogs, or a measured trait whose heritability stood at its
        bound."""
        if not self.is_borrowed:
            return True
        return self.grades is None and all(note["code"] != "at-bound" for note in self.notes)

    def is_better(self, one: float, other: float) -> bool:
        """Whether ``one`` lies nearer the better end of the trait's scale than ``other``."""
        return one < other if self.trait.better == "lower" else one > other


@dataclass(frozen=True, slots=True)
class TraitWithout:
    """A trait for which the run has no breeding values, and why."""

    trait: PublicTrait
    records: int
    notes: tuple[Mapping[str, Any], ...]

    def __hash__(self) -> int:
        """By the trait: the notes have no hash of their own."""
        return hash(self.trait)


@dataclass(frozen=True, slots=True)
class RunFacts:
    """The latest run that was done. ``results_since`` counts what was accepted, taken back or
    changed in the pedigree after its inputs were read."""

    pk: int
    breed_pk: int
    number: int
    finished_at: datetime
    dogs: int
    mean_inbreeding: float
    inputs_sha256: str
    results_sha256: str
    program_version: str
    results_since: int
    traits: tuple[TraitFacts, ...]
    without: tuple[TraitWithout, ...]

    @property
    def is_behind(self) -> bool:
        """Whether something changed since."""
        return self.results_since > 0

    def facts_of(self, trait_slug: str) -> TraitFacts | None:
        """The facts of one trait, or None where the run has no breeding values of it."""
        return next((facts for facts in self.traits if facts.trait.slug == trait_slug), None)


@dataclass(frozen=True, slots=True)
class DogValue:
    """A dog's breeding value of one trait, a deviation in the trait's unit.

    ``is_withheld``: the dog's own result is not released, so nothing of it is told. ``record`` is
    the dog's own number that the run used, None where it has none.
    """

    facts: TraitFacts
    is_withheld: bool
    value: float | None
    reliability: float | None
    error_variance: float | None
    record: float | None
    inbreeding: float


def latest_run(breed_pk: int) -> RunFacts | None:
    """The breed's latest run that was done, or None: four queries."""
    run = (
        BreedingRun.objects.filter(breed_id=breed_pk, state=RunState.DONE)
        .order_by("-number")
        .first()
    )
    if run is None or run.finished_at is None:
        return None
    traits = {trait.pk: trait for trait in public_traits()}
    found = sorted(
        run.traits.select_related("trait"), key=lambda row: list(traits).index(row.trait_id)
    )
    speaks = {row.pk: row.has_values and _can_speak(row, traits) for row in found}
    return RunFacts(
        pk=run.pk,
        breed_pk=breed_pk,
        number=run.number,
        finished_at=run.finished_at,
        dogs=run.dogs,
        mean_inbreeding=run.mean_inbreeding or 0.0,
        inputs_sha256=run.inputs_sha256,
        results_sha256=run.results_sha256,
        program_version=run.program_version,
        results_since=changes_since(run),
        traits=tuple(_facts(row, traits) for row in found if speaks[row.pk]),
        without=tuple(
            TraitWithout(traits[row.trait_id], row.records, tuple(row.notes))
            for row in found
            if not speaks[row.pk]
        ),
    )


def runs_of(breed_pk: int, *, most: int = 50) -> list[BreedingRun]:
    """The breed's runs of every state, newest first."""
    return list(BreedingRun.objects.filter(breed_id=breed_pk).order_by("-number")[:most])


def trend_of(run_pk: int, trait_pk: int) -> Mapping[str, Any]:
    """The breed's course as the run found it, by birth year; empty where there is none."""
    trend = TraitRun.objects.filter(run_id=run_pk, trait_id=trait_pk).values_list("trend")
    found: Mapping[str, Any] = (trend.first() or ({},))[0]
    return found


def breeding_value_of(dog: PublicDog) -> tuple[DogValue, ...]:
    """The dog's breeding values of the latest run of its breed; empty for a dog that came later."""
    run = latest_run(dog.breed_id)
    if run is None:
        return ()
    table = run_table(run.pk)
    place = table.place_of(dog.pk)
    if place is None:
        return ()
    withheld = withheld_traits(dog.pk)
    return tuple(dog_value(table, facts, place, facts.trait.pk in withheld) for facts in run.traits)


def dog_value(table: RunTable, facts: TraitFacts, place: int, is_withheld: bool) -> DogValue:
    """One dog's numbers of one trait, or the fact that they are withheld."""
    pk = facts.trait.pk
    record = float(table.record(pk)[place])
    return DogValue(
        facts=facts,
        is_withheld=is_withheld,
        value=None if is_withheld else float(table.value(pk)[place]),
        reliability=None if is_withheld else float(table.reliability(pk)[place]),
        error_variance=None if is_withheld else float(table.error_variance(pk)[place]),
        record=None if is_withheld or np.isnan(record) else record,
        inbreeding=float(table.inbreeding[place]),
    )


_LATEST_RUN = (
    "(SELECT MAX(r.started_at) FROM registry_breedingrun r"
    " WHERE r.breed_id = v.breed_id AND r.state = 'done')"
)
STILL_IN_THE_RUN = (
    f"(v.counted_until IS NULL OR v.counted_until > {_LATEST_RUN}"  # noqa: S608 - our own words
    f" OR (v.public_from <= {_LATEST_RUN}"
    f" AND (v.public_until IS NULL OR v.public_until > {_LATEST_RUN})"
    " AND NOT EXISTS (SELECT 1 FROM registry_countedvalue w WHERE w.dog_id = v.dog_id"
    " AND w.trait_id = v.trait_id AND w.counted_until IS NULL)))"
)
"""A value counts today, or counted when the latest run was computed, or waited to leave the public
counts then: one revoked since is still in what that run says."""
# The same rule for one dog and for all: what counts for the dog, or did in the run, is not
# released.
_NOT_RELEASED = (
    " FROM registry_countedvalue v JOIN registry_evaluation e ON e.id = v.evaluation_id"
    f" WHERE {STILL_IN_THE_RUN} AND NOT e.consent_to_publish"
)


def withheld_traits(dog_pk: int) -> set[int]:
    """The traits, by key, of which the dog's own result is not released."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT v.trait_id {_NOT_RELEASED} AND v.dog_id = %s", [dog_pk])
        return {trait_pk for (trait_pk,) in cursor.fetchall()}


def hidden_dogs(breed_pk: int, trait_pk: int) -> set[int]:
    """The dogs, by key, whose own result of the trait is not released: their breeding value is
    never shown or ranked, and no forecast is made with it."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT v.dog_id {_NOT_RELEASED} AND v.breed_id = %s AND v.trait_id = %s",
            [breed_pk, trait_pk],
        )
        return {dog_pk for (dog_pk,) in cursor.fetchall()}


def changes_since(run: BreedingRun) -> int:
    """How many ledger entries after the run's inputs changed a result or the pedigree of its dogs.

    A correction counts when it touches what a run reads: parents, breed, sex or day of birth. A dog
    that left the breed is found by the entry that says so.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT slug FROM registry_breed WHERE id = %s", [run.breed_id])
        (slug,) = cursor.fetchone()
        left = f'%"breed":{{"from":"{slug}",%'
        others = ", ".join(str(int(pk)) for pk in run.other_breeds) or "NULL"
        cursor.execute(
            _CHANGES.format(others=others),
            [run.ledger_seq, *_RESULTS, *_TOUCHED, run.breed_id, left, run.breed_id],
        )
        (number,) = cursor.fetchone()
    return int(number)


_RESULTS = ("evaluation.accepted", "evaluation.revoked", "evaluation.replaced")
# As the ledger's canonical text has them; only names of fields can stand so.
_TOUCHED = tuple(f'%"{field}":{{"from":%' for field in ("sire", "dam", "breed", "sex", "born_on"))
_CHANGES = """
    SELECT COUNT(*) FROM registry_ledgerentry l
    LEFT JOIN registry_dog d ON d.public_id = l.dog
    WHERE l.seq > %s AND (
        (l.action IN (%s, %s, %s) OR l.action IN ('dog.registered', 'dog.merged')
         OR (l.action = 'dog.corrected' AND (l.body LIKE %s OR l.body LIKE %s OR l.body LIKE %s
             OR l.body LIKE %s OR l.body LIKE %s)))
        AND (d.breed_id = %s OR (l.action = 'dog.corrected' AND l.body LIKE %s)
             OR (l.action LIKE 'dog.%%' AND d.id IN ({others}) AND d.breed_id <> %s))
    )
"""


def _can_speak(row: TraitRun, traits: Mapping[int, PublicTrait]) -> bool:
    """Whether the run tells what forecasts of this trait need: one made before grades had a
    liability does not, and the next one will."""
    return not traits[row.trait_id].grades or _note(row, "grades") is not None


def _note(row: TraitRun, code: str) -> Mapping[str, Any] | None:
    return next((note for note in row.notes if note["code"] == code), None)


def _graded(row: TraitRun, variances: Variances) -> GradedBreed | None:
    note = _note(row, "grades")
    if note is None:
        return None
    return GradedBreed(tuple(note["shares"]), note["mean"], note["spread"], variances)


def _facts(row: TraitRun, traits: Mapping[int, PublicTrait]) -> TraitFacts:
    variances = Variances(
        additive=row.additive or 0.0, litter=row.litter or 0.0, residual=row.residual or 0.0
    )
    graded, average = _graded(row, variances), _note(row, "average")
    middle_value = graded.mean if graded else (row.middle or 0.0) - (row.base or 0.0)
    return TraitFacts(
        trait=traits[row.trait_id],
        records=row.records,
        variances=variances,
        variances_from=row.variances_from,
        heritability=row.heritability or 0.0,
        heritability_se=row.heritability_se,
        litter_share=variances.litter_share,
        method=row.method,
        base=row.base or 0.0,
        middle=row.middle or 0.0,
        value_sd=row.value_sd or 0.0,
        mean_reliability=row.mean_reliability or 0.0,
        average=middle_value if average is None else average["value"],
        best=float(row.trait.lowest if row.trait.better_steps == "lower" else row.trait.highest),
        grades=graded,
        notes=tuple(row.notes),
    )
