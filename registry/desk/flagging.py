"""Gather what the automatic checks look at, run them, and store what they found as flags."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import cast

from registry import clock
from registry.desk.answers import Answers, ReadingAnswer
from registry.desk.known_dogs import dog_by_chip
from registry.models import Dog, Evaluation, Evidence, Flag, Kind, Reading, State, Trait
from registry.queries.distributions import histogram_now
from registry.science.checks import (
    BreedSpread,
    ExamFacts,
    Finding,
    OtherExam,
    ReadingFacts,
    ReadingSide,
    TraitRule,
    findings,
)

_STANDING = (State.SUBMITTED, State.RETURNED, State.ACCEPTED, State.REPLACED)
_NEED_A_DAY = frozenset({"date_conflict", "too_young", "possible_duplicate"})


def flag(
    evaluation: Evaluation, *, readings: Iterable[ReadingAnswer], evidence: Iterable[Evidence]
) -> list[Flag]:
    """Replace the evaluation's flags by what the checks find now; inside the caller's
    transaction."""
    readings = list(readings)
    traits = {reading.trait.slug: reading.trait for reading in readings}
    found = findings(_facts(evaluation, readings, traits, list(evidence)))
    found += _unconfirmed(evaluation.dog)
    evaluation.flags.all().delete()
    return Flag.objects.bulk_create(
        Flag(
            evaluation=evaluation,
            code=finding.code,
            level=finding.level,
            trait=traits.get(finding.trait) if finding.trait else None,
            side=finding.side or "",
            detail=dict(finding.detail),
        )
        for finding in found
    )


def foreseen(
    *,
    dog: Dog,
    answers: Answers,
    answering: Evaluation | None = None,
    evidence: Iterable[Evidence] = (),
) -> list[Flag]:
    """The flags that answers not sent yet would get; nothing is written.

    ``answering`` is the returned evaluation that the answers correct. Without a readable day the
    checks that need one are left out.
    """
    evaluation = Evaluation(dog=dog, examined_on=answers.examined_on, conditions=answers.conditions)
    if answering is not None:
        evaluation.public_id, evaluation.corrects = answering.public_id, answering.corrects
    traits = {reading.trait.slug: reading.trait for reading in answers.readings}
    has_day = answers.examined_on != date.min
    return [
        Flag(
            code=finding.code,
            level=finding.level,
            trait=traits.get(finding.trait) if finding.trait else None,
            side=finding.side or "",
            detail=dict(finding.detail),
        )
        for finding in findings(_facts(evaluation, list(answers.readings), traits, list(evidence)))
        if has_day or finding.code not in _NEED_A_DAY
    ]


def _unconfirmed(dog: Dog) -> list[Finding]:
    """A dog that a clinic added wants a registrar's look before its result counts."""
    return [] if dog.is_confirmed else [Finding("dog_unconfirmed", "look")]


def _facts(
    evaluation: Evaluation,
    readings: list[ReadingAnswer],
    traits: dict[str, Trait],
    evidence: list[Evidence],
) -> ExamFacts:
    dog = evaluation.dog
    as_read = evaluation.conditions.get("chip_as_read")
    seen = (as_read,) if as_read else ()
    seen_dogs = {chip: dog_by_chip(chip) for chip in seen}
    is_second_chip = bool(as_read) and seen_dogs[as_read] == dog
    return ExamFacts(
        born_on=dog.born_on,
        died_on=dog.died_on,
        examined_on=evaluation.examined_on,
        received_on=clock.today(),
        readings=tuple(
            ReadingFacts(
                trait=reading.trait.slug,
                side=cast("ReadingSide", reading.side.value),
                step=reading.step,
                head_radius_mm=reading.head_radius_mm,
                displacement_mm=reading.displacement_mm,
            )
            for reading in readings
        ),
        rules={slug: _rule(trait) for slug, trait in traits.items()},
        breed={
            slug: spread
            for slug, trait in traits.items()
            if trait.is_counted and (spread := _spread(dog, trait)) is not None
        },
        others=tuple(_others(evaluation)),
        chip_read=bool(evaluation.conditions.get("chip_read")),
        chip_on_record=as_read if is_second_chip else dog.chip,
        chips_seen=seen,
        chip_owners={
            chip: owner.public_id
            for chip, owner in seen_dogs.items()
            if owner is not None and owner != dog
        },
        evidence_elsewhere=_elsewhere(evaluation, evidence),
    )


def _rule(trait: Trait) -> TraitRule:
    is_measured = trait.kind == Kind.MEASURED
    usual = trait.side_difference
    return TraitRule(
        slug=trait.slug,
        resolution=trait.tidy(trait.resolution),
        is_measured=is_measured,
        lowest=trait.tidy(trait.lowest) if is_measured else None,
        highest=trait.tidy(trait.highest) if is_measured else None,
        minimum_age_days=trait.minimum_age_days or None,
        side_difference=trait.tidy(usual) if usual is not None else None,
    )


def _spread(dog: Dog, trait: Trait) -> BreedSpread | None:
    histogram = histogram_now(breed=dog.breed, trait=trait)
    if histogram.n < 2:
        return None
    return BreedSpread(histogram.n, histogram.mean(), histogram.sd())


def _others(evaluation: Evaluation) -> Iterable[OtherExam]:
    others = Evaluation.objects.filter(dog=evaluation.dog, state__in=_STANDING).exclude(
        public_id=evaluation.public_id
    )
    if evaluation.corrects is not None:
        others = others.exclude(public_id=evaluation.corrects.public_id)
    steps: dict[int, dict[tuple[str, ReadingSide], int]] = defaultdict(dict)
    for row in Reading.objects.filter(evaluation__in=others).values_list(
        "evaluation_id", "trait__slug", "side", "step"
    ):
        steps[row[0]][row[1], cast("ReadingSide", row[2])] = row[3]
    for pk, reference, examined_on in others.values_list("pk", "reference", "examined_on"):
        yield OtherExam(reference, examined_on, steps[pk])


def _elsewhere(evaluation: Evaluation, evidence: list[Evidence]) -> dict[str, str]:
    same = (
        Evidence.objects.filter(sha256__in=[item.sha256 for item in evidence])
        .filter(evaluation__isnull=False)
        .exclude(evaluation__public_id=evaluation.public_id)
    )
    return dict(same.values_list("sha256", "evaluation__reference"))
