"""What each trait of a result means: sentences, pictures, then and now, and the numbers behind.

Counts in, finished strings and drawings out. Which words are said is ``registry.wording``'s
business, where the circles lie ``registry.science``'s.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.charts.svg import HeapLabels, heaps
from registry.queries.breed_counts import BreedCounts
from registry.queries.places import IssuedPlace, Place, place_of
from registry.queries.public import PublicTrait, ReadTrait
from registry.queries.within_dogs import MOST_MONTHS
from registry.science.distribution import Histogram
from registry.science.dots import Heap, heap
from registry.science.scale import Better
from registry.science.standing import Standing
from registry.telling.drawings import drawing
from registry.telling.fairness import clinics_said
from registry.telling.guidance import Note, axis_ends, direction, guidance_sentences, notes_of
from registry.wording import dates
from registry.wording.standings import (
    TraitWords,
    Window,
    capitalised,
    compared_with,
    grade_sentences,
    measured_from,
    short_grades,
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
    """Other dogs better, equal and worse at one moment."""

    when: str
    better: str
    equal: str
    worse: str
    n: str
    months: str


@dataclass(frozen=True, slots=True)
class Meaning:
    """One trait of one result, ready to be placed on the page.

    ``lead`` is complete without the picture; ``health`` is what guidance points say of the value,
    ``fairness`` how far another clinic would have moved a dog, empty where little or unknown.
    ``then`` and ``now`` are the standing as issued and today's, both among other dogs; ``stale``
    says that a newer exam counts for this trait, ``measuring`` where the range of a second exam
    comes from.
    """

    slug: str
    title: str
    values: str
    stale: str
    lead: str
    sentences: tuple[str, ...]
    health: tuple[str, ...]
    fairness: tuple[str, ...]
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
    measuring: str
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Moment:
    """When the page is read, when the certificate was issued, and when the dog was examined, with
    the key of that evaluation; ``is_corrected`` says that the club has put a corrected result in
    its place since."""

    now: datetime
    issued_at: datetime
    examined_on: date
    evaluation_id: int
    is_corrected: bool = False


def meaning(
    read: ReadTrait,
    *,
    counts: BreedCounts,
    then: IssuedPlace | None,
    dog: str,
    moment: Moment,
    font: str = "",
) -> Meaning:
    """Put together what a trait's readings mean today and, with ``then``, meant when issued.

    ``font`` names a typeface for drawings that stand alone, outside a page.
    """
    trait = read.trait
    place = place_of(
        counts, trait.pk, read.spoken, trait.better, evaluation_id=moment.evaluation_id
    )
    words = TraitWords(trait.better_word, trait.worse_word, trait.joint)
    lead, *more = _sentences(read, place, dog=dog, words=words)
    drawn = () if place.standing.too_few else _heaps(read, place.among)
    return Meaning(
        slug=trait.slug,
        title=trait.name,
        values=values_text(read),
        stale=_stale(read, moment, is_old=moment.examined_on.replace(day=1) < counts.first_month),
        lead=lead,
        sentences=(*direction(trait), *more),
        health=guidance_sentences(trait, read.spoken),
        fairness=clinics_said(trait, counts.of(trait.pk), counts.clinics.get(trait.pk, ())),
        pictures=_pictures(read, drawn, place.among, dog=dog, lead=lead, font=font),
        circle=circle_text(drawn[0][1]) if drawn else "",
        now_label=_("Today, %(day)s") % {"day": dates.day(moment.now)},
        now=_short(trait, place.standing, words),
        now_counted=compared_with(place.standing.n, _window(place)),
        then_label=_("When issued, %(day)s") % {"day": dates.day(moment.issued_at)},
        then=_short(trait, then.standing, words) if then else "",
        then_counted=compared_with(then.standing.n, _window(then)) if then else "",
        better_word=_("Better grade") if trait.grades else capitalised(words.better),
        worse_word=_("Worse grade") if trait.grades else capitalised(words.worse),
        places=_place_rows(place, then, moment),
        numbers=_number_rows(trait, drawn),
        measuring=_measuring(trait, place),
        notes=notes_of(trait),
    )


def _sentences(read: ReadTrait, place: Place, *, dog: str, words: TraitWords) -> list[str]:
    """The standing in words: of a grade in grades, never in ends of a scale."""
    trait = read.trait
    if not trait.grades:
        return standing_sentences(place.standing, dog=dog, words=words, second=place.second)
    return grade_sentences(
        place.standing,
        dog=dog,
        grade=trait.value_text(read.spoken),
        is_best=read.spoken == 0,
        is_worst=read.spoken == len(trait.grades) - 1,
    )


def _measuring(trait: PublicTrait, place: Place) -> str:
    """Where the range of a second exam comes from; empty without one."""
    if place.within is None or place.standing.too_few:
        return ""
    within = place.within
    deviation = trait.sd_text(within.sd_steps)
    return measured_from(deviation, within.pairs, months=MOST_MONTHS, source=within.source)


def _short(trait: PublicTrait, standing: Standing, words: TraitWords) -> str:
    return short_grades(standing) if trait.grades else short_standing(standing, words=words)


def _window(place: Place | IssuedPlace) -> Window:
    return Window(place.first_month, place.last_month)


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
def placed_heap(among: Histogram, step: int, better: Better, span: tuple[int, int]) -> Heap:
    """The circles of a heap. Kept by content: equal counts give equal circles, so never stale."""
    return heap(among, step, better, own_is_counted=False, span=span)


def _heaps(read: ReadTrait, among: Histogram) -> tuple[tuple[str, Heap], ...]:
    """A heap of the other dogs for each side of a measured trait on one scale, the own circle
    besides; one heap for grades."""
    trait = read.trait
    steps = dict(read.steps)
    if trait.grades:
        steps = {"whole": read.spoken}
    span = (min(steps.values()), max(steps.values()))
    return tuple(
        (side, placed_heap(among, step, trait.better, span)) for side, step in steps.items()
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


def _place_rows(place: Place, then: IssuedPlace | None, moment: Moment) -> tuple[PlaceRow, ...]:
    rows: list[tuple[datetime, Place | IssuedPlace]] = [(moment.now, place)]
    if then:
        rows.append((moment.issued_at, then))
    return tuple(
        PlaceRow(
            when=dates.day(at),
            better=f"{each.standing.better:,}",
            equal=f"{each.standing.equal:,}",
            worse=f"{each.standing.worse:,}",
            n=f"{each.standing.n:,}",
            months=_("%(first)s to %(last)s")
            % {"first": dates.month(each.first_month), "last": dates.month(each.last_month)},
        )
        for at, each in rows
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
