"""A breed's forecasts and what came of them: a sentence first for each trait, then the table.

Facts of ``registry.queries.forecast_checks`` in, finished strings out, for the breed's page, the
interface and a pair's page.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.queries.forecast_checks import Numbers, Outcome
from registry.queries.public import PublicTrait
from registry.science.forecast_check import FEWEST_LITTERS, FEWEST_PUPPIES, Estimate
from registry.telling.breeding import hundredths, trait_words
from registry.telling.course import mean_text
from registry.wording import dates
from registry.wording.forecast_outcomes import (
    compared_words,
    lean_words,
    pair_words,
    range_words,
    slope_words,
    too_few_words,
)


@dataclass(frozen=True, slots=True)
class OutcomeRow:
    """A trait's line in the table; numbers are a dash where there are too few puppies."""

    trait: str
    litters: str
    puppies: str
    inside: str
    lean: str
    slope: str


@dataclass(frozen=True, slots=True)
class FifthsRow:
    """A trait's puppies by fifth of their own forecast, best results first, each of 100."""

    trait: str
    of_100: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OutcomesTold:
    """The section of a breed's page; ``rows`` and ``run`` are empty where no run held any forecast
    against results."""

    traits: tuple[tuple[str, tuple[str, ...]], ...]
    run: str
    rows: tuple[OutcomeRow, ...]
    fifths: tuple[FifthsRow, ...]
    compared: tuple[str, ...]


def outcomes_told(traits: Sequence[PublicTrait], outcomes: Mapping[int, Outcome]) -> OutcomesTold:
    """Put the section together, the counted traits in the order of pages."""
    counted = [trait for trait in traits if trait.is_counted]
    checked = [(trait, outcomes[trait.pk]) for trait in counted if trait.pk in outcomes]
    newest = max((outcome for _trait, outcome in checked), key=lambda each: each.run, default=None)
    traits_told = []
    for trait in counted:
        outcome = outcomes.get(trait.pk)
        sentences = outcome_sentences(trait, outcome)
        if outcome and newest and outcome.run != newest.run:
            sentences.append(_run(outcome))
        traits_told.append((trait.name, tuple(sentences)))
    return OutcomesTold(
        traits=tuple(traits_told),
        run=_run(newest) if newest else "",
        rows=tuple(_row(trait, outcome) for trait, outcome in checked),
        fifths=tuple(
            _fifths(trait, outcome.numbers)
            for trait, outcome in checked
            if outcome.numbers is not None
        ),
        compared=tuple([*compared_words(), _fewest()] if checked else []),
    )


def outcome_sentences(trait: PublicTrait, outcome: Outcome | None) -> list[str]:
    """How the trait's forecasts turned out, or why that is not told."""
    if trait.grades:
        return [_("Grades are not compared yet.")]
    if outcome is None or not outcome.puppies:
        return [_("No puppy with a forecast has been tested yet.")]
    numbers = outcome.numbers
    if numbers is None:
        return [too_few_words(outcome.puppies, outcome.litters)]
    said = [
        *range_words(numbers.inside, outcome.puppies, is_off=numbers.range_is_off),
        lean_words(
            numbers.lean,
            better=trait.better,
            words=trait_words(trait),
            amount=lambda value: mean_text(trait, value),
        ),
        slope_words(numbers.slope),
    ]
    return [each for each in said if each]


def earlier_forecasts(outcome: Outcome | None) -> list[str]:
    """What a pair's reader must know of how earlier forecasts turned out; nothing where they were
    as they should be, or too few."""
    numbers = outcome and outcome.numbers
    if not numbers:
        return []
    return pair_words(
        numbers.inside if numbers.range_is_off else None,
        numbers.slope if numbers.slope_is_off else None,
    )


def _run(outcome: Outcome) -> str:
    return _("Compared by breeding run %(number)d of %(day)s.") % {
        "number": outcome.run,
        "day": dates.day(outcome.run_at),
    }


def _fewest() -> str:
    return ngettext(
        "With fewer than %(litters)d litters or %(count)d puppy, no number is told.",
        "With fewer than %(litters)d litters or %(count)d puppies, no number is told.",
        FEWEST_PUPPIES,
    ) % {"litters": FEWEST_LITTERS, "count": FEWEST_PUPPIES}


def _row(trait: PublicTrait, outcome: Outcome) -> OutcomeRow:
    numbers = outcome.numbers
    inside, lean, slope = (numbers.inside, numbers.lean, numbers.slope) if numbers else [None] * 3
    return OutcomeRow(
        trait=trait.name,
        litters=f"{outcome.litters:,}",
        puppies=f"{outcome.puppies:,}",
        inside=_estimate(inside, hundredths),
        lean=_estimate(lean, partial(_signed, trait)),
        slope=_estimate(slope, "{:.2f}".format),
    )


def _fifths(trait: PublicTrait, numbers: Numbers) -> FifthsRow:
    parts = numbers.parts if trait.better == "lower" else numbers.parts[::-1]
    return FifthsRow(trait.name, tuple(hundredths(part / sum(parts)) for part in parts))


def _estimate(estimate: Estimate | None, text: Callable[[float], str]) -> str:
    """A number, and its 95 % interval in brackets."""
    if estimate is None:
        return "–"
    ends = {"low": text(estimate.low), "high": text(estimate.high)}
    # In a narrow column the interval goes whole to a line of its own.
    interval = (_("(%(low)s to %(high)s)") % ends).replace(" ", "\u00a0")
    return f"{text(estimate.value)} {interval}"


def _signed(trait: PublicTrait, value: float) -> str:
    """With its sign, but for what is written as 0."""
    text = mean_text(trait, abs(value))
    if text == mean_text(trait, 0.0):
        return text
    return f"+{text}" if value > 0 else f"-{text}"
