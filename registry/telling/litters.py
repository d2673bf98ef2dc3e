"""The litter that a pair leads to expect: sentence, fifty circles, and the numbers behind.

Facts of ``registry.queries.pairs`` in, finished strings and drawings out. Several pairs are drawn
on one scale, so that they can be compared by eye.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from registry.charts.litter import LitterLabels, ParentNote, litters
from registry.queries.pairs import PairFacts, PairTrait
from registry.queries.public import PublicTrait
from registry.science.distribution import Histogram
from registry.science.dots import Heap, parted
from registry.science.grade_forecast import GradeForecast
from registry.science.litter import Circles, Forecast
from registry.telling.breeding import (
    Reason,
    better_rule,
    borrowed,
    hands_on,
    heritability_rows,
    record_text,
    reliability_of,
    trait_words,
    value_writer,
)
from registry.telling.drawings import drawing
from registry.telling.facts import Fact
from registry.telling.grade_litters import (
    ExpectedGrades,
    drawn_grades,
    grade_details,
    grade_facts,
    grade_numbers,
    grade_ranges,
    grade_sentences,
)
from registry.telling.guidance import Note, notes_of
from registry.telling.meanings import range_text
from registry.telling.rounding import in_steps, mean_in_unit, spread
from registry.wording.breeding import (
    forecast_sentences,
    litter_mean_sentence,
    littermates_sentence,
    moved_onto_the_end,
)
from registry.wording.course import decimals_of
from registry.wording.standings import capitalised


@dataclass(frozen=True, slots=True)
class LitterTold:
    """One trait of one pair. Without a forecast ``svg`` is empty and ``lead`` says why.

    ``ranges`` are the lines of the table of puppies by value, ``numbers`` those of the numbers the
    forecast is made of.
    """

    slug: str
    title: str
    lead: str
    sentences: tuple[str, ...]
    caption: str
    svg: SafeString | str
    facts: tuple[Fact, ...]
    ranges: tuple[tuple[str, ...], ...]
    numbers: tuple[tuple[str, ...], ...]
    notes: tuple[Note, ...]
    details: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Expected:
    """A pair's trait that has a forecast, with the forecast and its circles."""

    pair: PairFacts
    of: PairTrait
    forecast: Forecast
    circles: Circles


def litters_told(
    pairs: Sequence[PairFacts], slug: str, histogram: Histogram
) -> tuple[LitterTold | None, ...]:
    """One trait of several pairs, drawn on one scale; None for a pair whose run has no such trait.

    ``histogram`` is the breed's counts of the trait: the scale covers them.
    """
    found = [
        (pair, next((each for each in pair.traits if each.facts.trait.slug == slug), None))
        for pair in pairs
    ]
    expected = {
        at: _expected(pair, of, of.forecast)
        for at, (pair, of) in enumerate(found)
        if of is not None and isinstance(of.forecast, Forecast)
    }
    grades = {
        at: ExpectedGrades(pair, of, of.forecast)
        for at, (pair, of) in enumerate(found)
        if of is not None and isinstance(of.forecast, GradeForecast)
    }
    drawn = dict(zip(expected, _drawn(list(expected.values()), histogram), strict=True))
    svgs = dict(zip(grades, drawn_grades(list(grades.values())), strict=True))
    told = {at: _told(each, *drawn[at]) for at, each in expected.items()}
    told |= {at: _told_grades(each, svgs[at]) for at, each in grades.items()}
    return tuple(told[at] if at in told else _without(of) for at, (_pair, of) in enumerate(found))


def _told_grades(each: ExpectedGrades, svg: SafeString) -> LitterTold:
    trait = each.of.facts.trait
    return LitterTold(
        slug=trait.slug,
        title=trait.name,
        lead=each.lead,
        sentences=tuple(grade_sentences(each)),
        caption=_("The litter to expect: %(trait)s") % {"trait": _measure(trait)},
        svg=svg,
        facts=tuple(grade_facts(each)),
        ranges=grade_ranges(each),
        numbers=grade_numbers(each),
        notes=notes_of(trait),
        details=(*grade_details(), better_rule()),
    )


def _expected(pair: PairFacts, of: PairTrait, forecast: Forecast) -> Expected:
    lowest, highest = of.ends
    circles = forecast.circles(
        of.facts.middle, resolution=of.facts.trait.resolution, lowest=lowest, highest=highest
    )
    return Expected(pair, of, forecast, circles)


def _drawn(expected: Sequence[Expected], histogram: Histogram) -> list[tuple[Heap, SafeString]]:
    if not expected:
        return []
    steps = [step for each in expected for step in each.circles.steps]
    if histogram.n:
        steps += [histogram.first_step, histogram.last_step]
    span = min(steps), max(steps)
    better = expected[0].of.facts.trait.better
    heaps = [parted(each.circles.steps, each.circles.edge, better, span=span) for each in expected]
    svgs = litters(
        [
            (heap, _labels(each), f"litter-{each.of.facts.trait.slug}-{at}")
            for at, (each, heap) in enumerate(zip(expected, heaps, strict=True))
        ],
        better=better,
    )
    return [(heap, drawing(svg)) for heap, svg in zip(heaps, svgs, strict=True)]


def _labels(each: Expected) -> LitterLabels:
    facts = each.of.facts
    trait = facts.trait
    resolution = float(trait.resolution)
    return LitterLabels(
        title=_sentences(each)[0],
        description=_("1 circle = 2 of 100 puppies"),
        better_end=capitalised(trait.better_word),
        worse_end=capitalised(trait.worse_word),
        circle=_("1 circle = 2 of 100 puppies"),
        middle=_("Breed's middle"),
        middle_value=record_text(trait, facts.middle),
        middle_step=facts.middle / resolution,
        value=trait.value_text,
        parents=tuple(
            ParentNote(value.record / resolution, dog.short_name, record_text(trait, value.record))
            for dog, value in ((each.pair.sire, each.of.sire), (each.pair.dam, each.of.dam))
            if value.record is not None
        ),
    )


def _sentences(each: Expected) -> list[str]:
    facts = each.of.facts
    trait = facts.trait
    return forecast_sentences(
        each.forecast,
        middle=facts.middle,
        best=facts.best,
        reliability=reliability_of(each.of.sire, each.of.dam),
        words=trait_words(trait),
        value=value_writer(trait),
    )


def _told(each: Expected, heap: Heap, svg: SafeString) -> LitterTold:
    facts = each.of.facts
    trait, value = facts.trait, value_writer(facts.trait)
    lowest, highest = (value(float(end)) for end in each.of.ends)
    lead, *sentences = _sentences(each)
    return LitterTold(
        slug=trait.slug,
        title=trait.name,
        lead=lead,
        sentences=(*sentences, *borrowed(facts)),
        caption=_("The litter to expect: %(trait)s") % {"trait": _measure(trait)},
        svg=svg,
        facts=(
            Fact(_("Middle puppy"), value(each.forecast.mean)),
            Fact(_("Breed's middle dog"), value(facts.middle)),
            Fact(
                _("%(dog)s hands on") % {"dog": each.pair.sire.short_name}, hands_on(each.of.sire)
            ),
            Fact(_("%(dog)s hands on") % {"dog": each.pair.dam.short_name}, hands_on(each.of.dam)),
        ),
        ranges=tuple(
            (range_text(trait, column.low_step, column.high_step), str(2 * column.dogs))
            for column in heap.columns
        ),
        numbers=_numbers(each),
        notes=notes_of(trait),
        details=(
            litter_mean_sentence(each.forecast, value=value),
            littermates_sentence(each.forecast, value=value),
            *moved_onto_the_end(each.circles, lowest=lowest, highest=highest),
            better_rule(),
        ),
    )


def _numbers(each: Expected) -> tuple[tuple[str, ...], ...]:
    """What the forecast is made of, as a breeder who knows the terms expects it; with no more
    digits than the interface tells (``rounding``)."""
    facts, forecast = each.of.facts, each.forecast
    trait = facts.trait
    decimals = decimals_of(trait.resolution)
    rows = [
        (_("Expected mean of the puppies"), f"{in_steps(forecast.mean, trait):.{decimals}f}"),
        (_("Spread of one puppy around it (standard deviation)"), f"{spread(forecast.sd):g}"),
        (_("Spread among litter mates (standard deviation)"),
         f"{spread(forecast.sd_between_littermates):g}"),
    ]  # fmt: skip
    for dog, value in ((each.pair.sire, each.of.sire), (each.pair.dam, each.of.dam)):
        rows += [
            (_("Breeding value of %(dog)s") % {"dog": dog.name},
             f"{in_steps(value.value or 0.0, trait):+.{decimals}f}"),
            (_("Its reliability (0 to 1)"), f"{value.reliability:.2f}"),
        ]  # fmt: skip
        if value.record is not None:
            own = f"{in_steps(value.record, trait):.{decimals}f}"
            rows.append((_("Its own result, as the run used it"), own))
    middle = f"{mean_in_unit(facts.middle, trait):.{decimals + 1}f}"
    return (*rows, *heritability_rows(facts), (_("Breed's middle dog"), middle))


def _measure(trait: PublicTrait) -> str:
    """The trait, and that a puppy counts as it will on its certificate."""
    if not trait.is_per_side:
        return trait.name
    return _("%(trait)s, worse side") % {"trait": trait.name}


def _without(of: PairTrait | None) -> LitterTold | None:
    if of is None:
        return None
    said = _without_words(of)
    trait = of.facts.trait
    return LitterTold(
        slug=trait.slug,
        title=trait.name,
        lead=f"{said.title}. {said.text}",
        sentences=(),
        caption="",
        svg="",
        facts=(),
        ranges=(),
        numbers=(),
        notes=(),
        details=(),
    )


def _without_words(of: PairTrait) -> Reason:
    names = _(" and ").join(dog.name for dog in of.withheld)
    return Reason(
        _("The owner has not released the result"),
        _("The result of %(dogs)s is private. So nothing is forecast with it.") % {"dogs": names},
    )
