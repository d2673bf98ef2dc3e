"""Automatic checks of a submitted examination: what a registrar should look at before deciding.

Plain facts in, findings out: a code, a level and the numbers behind it as text. The words for each
code are in the pages; whether a finding is right is for a person. Level ``stop`` is kept for what
cannot be true or may not count; all else is ``look``. Warnings that are mostly wrong are no longer
read, so each check aims at few false ones: all together at most five in a hundred clean records.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Literal

from registry.science.laxity import MeasurementProblem, index_from
from registry.science.scale import Side, value_of

Level = Literal["look", "stop"]
ReadingSide = Literal["left", "right", "whole"]

FEWEST_FOR_SPREAD = 20
MOST_SD = 4
DUPLICATE_DAYS = 14
LONG_AGO_DAYS = 3653  # ten years
OLDEST_DAYS = 7305  # twenty years, older than dogs are examined


@dataclass(frozen=True)
class TraitRule:
    """What is usual for a trait; limits in the trait's unit, None where there is none."""

    slug: str
    resolution: Decimal
    is_measured: bool
    lowest: Decimal | None = None
    highest: Decimal | None = None
    minimum_age_days: int | None = None
    side_difference: Decimal | None = None


@dataclass(frozen=True)
class BreedSpread:
    """The breed's dogs for one trait: how many, and their mean and SD in steps."""

    n: int
    mean: float
    sd: float


@dataclass(frozen=True)
class ReadingFacts:
    """One reading: trait, side, value in steps, and what it was computed from where given."""

    trait: str
    side: ReadingSide
    step: int
    head_radius_mm: Decimal | None = None
    displacement_mm: Decimal | None = None


@dataclass(frozen=True)
class OtherExam:
    """Another examination of the same dog that stands or waits: (trait, side) → step."""

    reference: str
    examined_on: date
    steps: Mapping[tuple[str, ReadingSide], int]


@dataclass(frozen=True)
class ExamFacts:
    """Everything the checks look at. ``received_on`` is the day of submission.

    ``chip_on_record`` is the dog's registered chip, ``chips_seen`` those read off the dog or named
    in the evidence, ``chip_owners`` the other dogs that carry one of those chips (chip → public
    id). ``evidence_elsewhere`` maps the SHA-256 of an attached file to the reference of another
    examination that has the same file.
    """

    born_on: date | None
    examined_on: date
    received_on: date
    readings: tuple[ReadingFacts, ...]
    rules: Mapping[str, TraitRule]
    breed: Mapping[str, BreedSpread] = field(default_factory=dict)
    others: tuple[OtherExam, ...] = ()
    chip_read: bool = True
    chip_on_record: str | None = None
    chips_seen: tuple[str, ...] = ()
    chip_owners: Mapping[str, str] = field(default_factory=dict)
    died_on: date | None = None
    evidence_elsewhere: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Finding:
    """One thing to look at. ``detail`` holds its numbers as text, for the sentence about it."""

    code: str
    level: Level
    trait: str | None = None
    side: ReadingSide | None = None
    detail: Mapping[str, str] = field(default_factory=dict)


def findings(facts: ExamFacts) -> list[Finding]:
    """Return all findings, those that stop first."""
    found = [finding for check in _CHECKS for finding in check(facts)]
    return sorted(found, key=lambda finding: finding.level != "stop")


def _dates(facts: ExamFacts) -> Iterator[Finding]:
    """Examined before birth, after death, after it was sent in, long ago, or far too old."""
    examined = {"examined_on": facts.examined_on.isoformat()}
    if facts.examined_on > facts.received_on:
        yield Finding(
            "date_conflict",
            "stop",
            detail={**examined, "kind": "future", "received_on": facts.received_on.isoformat()},
        )
    elif (facts.received_on - facts.examined_on).days > LONG_AGO_DAYS:
        yield Finding("date_conflict", "look", detail={**examined, "kind": "long_ago"})
    if facts.died_on is not None and facts.examined_on > facts.died_on:
        died = {**examined, "died_on": facts.died_on.isoformat()}
        yield Finding("date_conflict", "stop", detail={**died, "kind": "after_death"})
    if facts.born_on is None:
        yield Finding("age_unknown", "look")
        return
    born = {**examined, "born_on": facts.born_on.isoformat()}
    age_days = (facts.examined_on - facts.born_on).days
    if age_days < 0:
        yield Finding("date_conflict", "stop", detail={**born, "kind": "before_birth"})
    elif age_days > OLDEST_DAYS:
        yield Finding("date_conflict", "look", detail={**born, "kind": "very_old"})


def _too_young(facts: ExamFacts) -> Iterator[Finding]:
    """Younger than the trait's minimum age on the day of the examination."""
    if facts.born_on is None or facts.examined_on < facts.born_on:
        return
    age_days = (facts.examined_on - facts.born_on).days
    for slug in _traits(facts):
        least = facts.rules[slug].minimum_age_days
        if least is not None and age_days < least:
            detail = {"age_days": str(age_days), "minimum_age_days": str(least)}
            yield Finding("too_young", "stop", slug, detail=detail)


def _values(facts: ExamFacts) -> Iterator[Finding]:
    """Outside the trait's plausible range, or further from the breed's mean than four SD."""
    for reading in facts.readings:
        rule = facts.rules[reading.trait]
        value = value_of(reading.step, rule.resolution)
        low, high = rule.lowest, rule.highest
        if (low is not None and value < low) or (high is not None and value > high):
            limits = {"lowest": _text(low), "highest": _text(high)}
            detail = {"value": str(value), **limits}
            yield Finding("outside_plausible", "look", reading.trait, reading.side, detail)
            continue
        spread = facts.breed.get(reading.trait)
        if spread is None or spread.n < FEWEST_FOR_SPREAD or not rule.is_measured:
            continue
        if spread.sd > 0 and abs(reading.step - spread.mean) > MOST_SD * spread.sd:
            detail = {
                "value": str(value),
                "mean": _in_unit(spread.mean, rule),
                "sd": _in_unit(spread.sd, rule),
                "dogs": str(spread.n),
            }
            yield Finding("beyond_four_sd", "look", reading.trait, reading.side, detail)


def _index(facts: ExamFacts) -> Iterator[Finding]:
    """The index is not what displacement ÷ radius gives, by more than one step."""
    for reading in facts.readings:
        if reading.head_radius_mm is None or reading.displacement_mm is None:
            continue
        resolution = facts.rules[reading.trait].resolution
        given = value_of(reading.step, resolution)
        lengths = {
            "value": str(given),
            "head_radius_mm": str(reading.head_radius_mm),
            "displacement_mm": str(reading.displacement_mm),
        }
        try:
            computed = index_from(reading.head_radius_mm, reading.displacement_mm)
        except MeasurementProblem as problem:
            detail = {**lengths, "problem": problem.code}
            yield Finding("index_mismatch", "look", reading.trait, reading.side, detail)
            continue
        if abs(given - computed) > resolution:
            detail = {**lengths, "computed": str(computed.quantize(resolution))}
            yield Finding("index_mismatch", "look", reading.trait, reading.side, detail)


def _sides(facts: ExamFacts) -> Iterator[Finding]:
    """Only one was read, left and right differ unusually, or are those of an earlier examination
    exchanged."""
    for slug in _traits(facts):
        left, right = _step(facts, slug, "left"), _step(facts, slug, "right")
        if left is None or right is None:
            # The worse side speaks for the dog, and may be the one that was left out.
            if left is not None or right is not None:
                yield Finding("side_missing", "look", slug, "left" if left is None else "right")
            continue
        rule = facts.rules[slug]
        values = {
            "left": str(value_of(left, rule.resolution)),
            "right": str(value_of(right, rule.resolution)),
        }
        apart = value_of(abs(left - right), rule.resolution)
        if rule.side_difference is not None and apart > rule.side_difference:
            detail = {**values, "usual": str(rule.side_difference)}
            yield Finding("sides_differ", "look", slug, detail=detail)
        # Grades are too coarse: B and A after A and B is common without any mistake.
        if not rule.is_measured or left == right:
            continue
        for other in facts.others:
            earlier = other.steps.get((slug, "left")), other.steps.get((slug, "right"))
            if earlier == (right, left):
                detail = {**values, **_names(other)}
                yield Finding("sides_swapped", "look", slug, detail=detail)


def _chip(facts: ExamFacts) -> Iterator[Finding]:
    """The chip was not read, is not the one on record, or is another dog's."""
    if not facts.chip_read:
        yield Finding("chip_not_read", "look")
    for chip in dict.fromkeys(facts.chips_seen):
        if chip in facts.chip_owners:
            detail = {"chip": chip, "other_dog": facts.chip_owners[chip]}
            yield Finding("chip_conflict", "stop", detail=detail)
        elif facts.chip_on_record is not None and chip != facts.chip_on_record:
            detail = {"chip": chip, "chip_on_record": facts.chip_on_record}
            yield Finding("chip_conflict", "look", detail=detail)


def _duplicates(facts: ExamFacts) -> Iterator[Finding]:
    """The same trait within two weeks, or the very same measured values on another day."""
    own = {(reading.trait, reading.side): reading.step for reading in facts.readings}
    for other in facts.others:
        days = abs((other.examined_on - facts.examined_on).days)
        traits = {trait for trait, _ in own} & {trait for trait, _ in other.steps}
        if traits and days <= DUPLICATE_DAYS:
            kind = "same_days"
        elif _repeats(facts, own, other):
            kind = "same_values"
        else:
            continue
        detail = {"kind": kind, "days": str(days), **_names(other)}
        yield Finding("possible_duplicate", "look", detail=detail)


def _evidence(facts: ExamFacts) -> Iterator[Finding]:
    """A file that is also attached to another examination."""
    for digest, reference in sorted(facts.evidence_elsewhere.items()):
        detail = {"sha256": digest, "other": reference}
        yield Finding("same_evidence", "look", detail=detail)


_CHECKS: tuple[Callable[[ExamFacts], Iterable[Finding]], ...] = (
    _dates,
    _too_young,
    _values,
    _index,
    _sides,
    _chip,
    _duplicates,
    _evidence,
)


def _repeats(
    facts: ExamFacts, own: Mapping[tuple[str, ReadingSide], int], other: OtherExam
) -> bool:
    """Return whether every measured value both have is the same, on two sides or more."""
    shared = [key for key in own if key in other.steps and facts.rules[key[0]].is_measured]
    return len(shared) >= 2 and all(own[key] == other.steps[key] for key in shared)


def _traits(facts: ExamFacts) -> list[str]:
    return list(dict.fromkeys(reading.trait for reading in facts.readings))


def _step(facts: ExamFacts, trait: str, side: Side) -> int | None:
    for reading in facts.readings:
        if reading.trait == trait and reading.side == side:
            return reading.step
    return None


def _names(other: OtherExam) -> dict[str, str]:
    return {"other": other.reference, "other_examined_on": other.examined_on.isoformat()}


def _in_unit(steps: float, rule: TraitRule) -> str:
    value = Decimal(repr(steps)) * rule.resolution
    # One digit more than the trait is recorded with.
    return str(value.quantize(rule.resolution / 10))


def _text(limit: Decimal | None) -> str:
    return "" if limit is None else str(limit)
