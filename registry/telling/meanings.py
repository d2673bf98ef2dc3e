"""What each trait of a result means: sentences, pictures, then and now, and the numbers behind.

Counts in, finished strings and drawings out. Which words are said is ``registry.wording``'s
business, where the circles lie ``registry.science``'s.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.charts.svg import HeapLabels, heaps
from registry.queries.breed_counts import BreedCounts
from registry.queries.public import PublicTrait, ReadTrait
from registry.science.distribution import Histogram
from registry.science.dots import Heap, heap
from registry.science.scale import Better
from registry.science.standing import Standing, standing
from registry.telling.drawings import drawing
from registry.telling.guidance import Note, axis_ends, direction, guidance_sentences, notes_of
from registry.wording import dates
from registry.wording.standings import (
    TraitWords,
    Window,
    capitalised,
    counted,
    short_standing,
    standing_sentences,
)


@dataclass(frozen=True, slots=True)
class Picture:
    """A heap of circles under its caption."""

    caption: str
    svg: SafeString


@dataclass(frozen=True, slots=True)
class NumberRow:
    """A line of the table behind the pictures: a range of values, its dogs, and who is there."""

    values: str
    dogs: str
    here: str


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """Dogs better, equal and worse at one moment."""

    when: str
    better: str
    equal: str
    worse: str
    n: str
    months: str


@dataclass(frozen=True, slots=True)
class Meaning:
    """One trait of one result, ready to be placed on the page.

    ``lead`` is complete without the picture; ``health`` is what guidance points say of the value.
    ``then`` and ``now`` are the standing as issued and today's; ``stale`` says that a newer exam
    counts for this trait.
    """

    slug: str
    title: str
    values: str
    stale: str
    lead: str
    sentences: tuple[str, ...]
    health: tuple[str, ...]
    pictures: tuple[Picture, ...]
    circle: str
    now_label: str
    now: str
    now_counted: str
    then_label: str
    then: str
    then_counted: str
    better_word: str
    worse_word: str
    places: tuple[PlaceRow, ...]
    numbers: tuple[NumberRow, ...]
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Moment:
    """When the page is read, when the certificate was issued, and when the dog was examined;
    ``is_corrected`` says that the club has put a corrected result in its place since."""

    now: datetime
    issued_at: datetime
    examined_on: date
    is_corrected: bool = False


def meaning(
    read: ReadTrait,
    *,
    counts: BreedCounts,
    as_issued: Mapping[str, Any] | None,
    dog: str,
    moment: Moment,
    font: str = "",
) -> Meaning:
    """Put together what a trait's readings mean today and meant when issued.

    ``font`` names a typeface for drawings that stand alone, outside a page.
    """
    trait = read.trait
    histogram = counts.of(trait.pk)
    is_old = moment.examined_on.replace(day=1) < counts.first_month
    if not read.counts or is_old or not histogram.at(read.spoken):
        # The dog is not in the counts with this value; it is compared as one more dog.
        histogram = histogram.add(read.spoken)
    place = standing(histogram, read.spoken, trait.better)
    words = TraitWords(trait.better_word, trait.worse_word, trait.joint)
    window = Window(counts.first_month, counts.last_month)
    lead, *more = standing_sentences(place, dog=dog, words=words)
    drawn = () if place.too_few else _heaps(read, histogram)
    then = _place_then(as_issued)
    return Meaning(
        slug=trait.slug,
        title=trait.name,
        values=values_text(read),
        stale=_stale(read, moment, is_old=is_old),
        lead=lead,
        sentences=(*direction(trait), *more),
        health=guidance_sentences(trait, read.spoken),
        pictures=_pictures(read, drawn, histogram, dog=dog, lead=lead, font=font),
        circle=circle_text(drawn[0][1]) if drawn else "",
        now_label=_("Today, %(day)s") % {"day": dates.day(moment.now)},
        now=short_standing(place, words=words),
        now_counted=counted(place.n, window),
        then_label=_("When issued, %(day)s") % {"day": dates.day(moment.issued_at)},
        then=short_standing(then[0], words=words) if then else "",
        then_counted=counted(then[0].n, then[1]) if then else "",
        better_word=capitalised(words.better),
        worse_word=capitalised(words.worse),
        places=_place_rows(place, window, then, moment),
        numbers=_number_rows(trait, drawn),
        notes=notes_of(trait),
    )


def _stale(read: ReadTrait, moment: Moment, *, is_old: bool) -> str:
    if moment.is_corrected:
        return _("This was corrected. The corrected result counts now.")
    if not read.counts:
        return _("A newer exam of this dog counts for this now.")
    if is_old:
        return _("This exam is too old to be counted. It is compared with newer ones.")
    return ""


def values_text(read: ReadTrait) -> str:
    """``Left 0.35, right 0.38``, or the one value of a whole-dog trait."""
    trait = read.trait
    parts = [
        f"{word} {trait.value_text(read.steps[side])}".strip()
        for side, word in (("left", _("left")), ("right", _("right")), ("whole", ""))
        if side in read.steps
    ]
    return capitalised(", ".join(parts))


def circle_text(drawn: Heap) -> str:
    """What one circle stands for."""
    if drawn.dogs_per_circle == 1:
        return _("1 circle = 1 dog")
    dogs = round(drawn.dogs_per_circle)
    return ngettext("1 circle = about %(dogs)s dog", "1 circle = about %(dogs)s dogs", dogs) % {
        "dogs": f"{dogs:,}"
    }


@lru_cache(maxsize=2048)
def placed_heap(
    histogram: Histogram, step: int | None, better: Better, is_counted: bool, span: tuple[int, int]
) -> Heap:
    """The circles of a heap. Kept by content: equal counts give equal circles, so never stale."""
    return heap(histogram, step, better, own_is_counted=is_counted, span=span)


def _heaps(read: ReadTrait, histogram: Histogram) -> tuple[tuple[str, Heap], ...]:
    """A heap for each side of a measured trait on one scale; one heap for grades."""
    trait, spoken = read.trait, read.spoken
    steps = dict(read.steps)
    if trait.grades:
        steps = {"whole": spoken}
    span = (min(steps.values()), max(steps.values()))
    return tuple(
        (side, placed_heap(histogram, step, trait.better, step == spoken, span))
        for side, step in steps.items()
    )


def _pictures(
    read: ReadTrait,
    drawn: tuple[tuple[str, Heap], ...],
    histogram: Histogram,
    *,
    dog: str,
    lead: str,
    font: str,
) -> tuple[Picture, ...]:
    if not drawn:
        return ()
    trait = read.trait
    better, worse = axis_ends(trait, histogram)
    parts = []
    captions = []
    for side, circles in drawn:
        step = read.spoken if side == "whole" else read.steps[side]
        value = trait.value_text(step)
        caption = _caption(read, side, value)
        captions.append(caption)
        labels = HeapLabels(
            title=f"{caption}. {lead}" if step == read.spoken else caption,
            description=circle_text(circles),
            better_end=better,
            worse_end=worse,
            circle=circle_text(circles),
            value=trait.value_text,
            own=dog,
            own_value=value,
            same=_("same as %(dog)s") % {"dog": dog},
        )
        parts.append((circles, labels, f"{trait.slug}-{side}"))
    svgs = heaps(parts, better=trait.better, font=font)
    return tuple(
        Picture(caption, drawing(svg)) for caption, svg in zip(captions, svgs, strict=True)
    )


def _caption(read: ReadTrait, side: str, value: str) -> str:
    name = read.trait.name
    if side == "whole":
        return _("%(trait)s: %(value)s") % {"trait": name, "value": value}
    pattern = _("Left, %(value)s") if side == "left" else _("Right, %(value)s")
    caption = pattern % {"value": value}
    steps = set(read.steps.values())
    if len(steps) > 1 and read.steps[side] == read.spoken:
        caption += " " + _("(this side counts)")
    return caption


def _place_then(as_issued: Mapping[str, Any] | None) -> tuple[Standing, Window] | None:
    """The standing kept with the certificate."""
    if not as_issued:
        return None
    dogs = (as_issued["better"], as_issued["equal"], as_issued["worse"], as_issued["n"])
    place = Standing(*dogs, share=None, low=None, high=None)
    return place, Window(
        date.fromisoformat(as_issued["first_month"]), date.fromisoformat(as_issued["last_month"])
    )


def _place_rows(
    place: Standing, window: Window, then: tuple[Standing, Window] | None, moment: Moment
) -> tuple[PlaceRow, ...]:
    rows = [(moment.now, place, window)]
    if then:
        rows.append((moment.issued_at, *then))
    return tuple(
        PlaceRow(
            when=dates.day(at),
            better=f"{each.better:,}",
            equal=f"{each.equal:,}",
            worse=f"{each.worse:,}",
            n=f"{each.n:,}",
            months=_("%(first)s to %(last)s")
            % {"first": dates.month(months.first_month), "last": dates.month(months.last_month)},
        )
        for at, each, months in rows
    )


def _number_rows(trait: PublicTrait, drawn: tuple[tuple[str, Heap], ...]) -> tuple[NumberRow, ...]:
    """The columns of the heaps as numbers; all heaps of a trait share them."""
    if not drawn:
        return ()
    names = {"left": _("left"), "right": _("right"), "whole": _("this dog")}
    rows = []
    for place, column in enumerate(drawn[0][1].columns):
        here = [names[side] for side, each in drawn if each.columns[place].has_own]
        rows.append(
            NumberRow(
                values=range_text(trait, column.low_step, column.high_step),
                dogs=f"{column.dogs:,}",
                here=", ".join(here),
            )
        )
    return tuple(rows)


def range_text(trait: PublicTrait, low: int, high: int) -> str:
    """``0.30 to 0.31``, or the one value."""
    if low == high:
        return trait.value_text(low)
    high = min(high, len(trait.grades) - 1) if trait.grades else high
    return _("%(low)s to %(high)s") % {
        "low": trait.value_text(low),
        "high": trait.value_text(high),
    }
