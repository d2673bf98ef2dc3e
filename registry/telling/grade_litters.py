"""The litter that a pair leads to expect in a trait of ordered grades: a share for each grade.

Facts of ``registry.queries.pairs`` in, finished strings and drawings out. Fifty circles stand in
the columns of their grades; the breed's own shares stand beside them in the table.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from registry.charts.litter import LitterLabels, ParentNote, litters
from registry.queries.pairs import PairFacts, PairTrait
from registry.science.dots import CIRCLES, Heap, around
from registry.science.grade_forecast import GradeForecast, dealt
from registry.telling.breeding import (
    borrowed,
    hands_on,
    heritability_rows,
    record_text,
    reliability_of,
)
from registry.telling.drawings import drawing
from registry.telling.facts import Fact
from registry.wording.breeding import parents_known
from registry.wording.grades import best_grade_words, other_grades_words


@dataclass(frozen=True, slots=True)
class ExpectedGrades:
    """A pair's graded trait that has a forecast."""

    pair: PairFacts
    of: PairTrait
    forecast: GradeForecast

    @property
    def lead(self) -> str:
        """The sentence that stands first."""
        return best_grade_words(self.forecast, self.of.facts.trait.grades)


def drawn_grades(expected: Sequence[ExpectedGrades]) -> list[SafeString]:
    """The pictures of several pairs on one scale."""
    if not expected:
        return []
    heaps = [_heap(each) for each in expected]
    svgs = litters(
        [
            (heap, _labels(each, heap), f"litter-{each.of.facts.trait.slug}-{at}")
            for at, (each, heap) in enumerate(zip(expected, heaps, strict=True))
        ],
        better="lower",
    )
    return [drawing(svg) for svg in svgs]


def grade_sentences(each: ExpectedGrades) -> list[str]:
    """What stands below the picture."""
    facts = each.of.facts
    said = [other_grades_words(each.forecast, facts.trait.grades)]
    if facts.is_borrowed:
        said += borrowed(facts)
    else:
        said.append(parents_known(reliability_of(each.of.sire, each.of.dam)))
    return said


def grade_facts(each: ExpectedGrades) -> list[Fact]:
    """The best grade in two numbers, and what the parents hand on."""
    grade = each.of.facts.trait.grades[0]
    puppies, breed = _per_cent(each.forecast.shares), _per_cent(each.forecast.breed_shares)
    facts = [
        Fact(_("Puppies with grade %(grade)s, of 100") % {"grade": grade}, str(puppies[0])),
        Fact(_("The breed's dogs with grade %(grade)s, of 100") % {"grade": grade}, str(breed[0])),
    ]
    if each.of.facts.is_ranked:
        facts += [
            Fact(_("%(dog)s hands on") % {"dog": dog.short_name}, hands_on(value))
            for dog, value in ((each.pair.sire, each.of.sire), (each.pair.dam, each.of.dam))
        ]
    return facts


def grade_ranges(each: ExpectedGrades) -> tuple[tuple[str, ...], ...]:
    """Of each grade: the puppies and the breed's dogs, of 100."""
    grades = each.of.facts.trait.grades
    puppies, breed = _per_cent(each.forecast.shares), _per_cent(each.forecast.breed_shares)
    return tuple(
        (_("%(grade)s (the breed: %(breed)d)") % {"grade": grade, "breed": of_breed}, str(pups))
        for grade, pups, of_breed in zip(grades, puppies, breed, strict=True)
    )


def grade_numbers(each: ExpectedGrades) -> tuple[tuple[str, ...], ...]:
    """What the forecast is made of, as a breeder who knows the terms expects it."""
    rows: list[tuple[str, ...]] = []
    for dog, value in ((each.pair.sire, each.of.sire), (each.pair.dam, each.of.dam)):
        rows += [
            (_("Breeding value of %(dog)s, on the liability") % {"dog": dog.name},
             f"{value.value:+.2f}"),
            (_("Its reliability (0 to 1)"), f"{value.reliability:.2f}"),
        ]  # fmt: skip
    return (*rows, *heritability_rows(each.of.facts))


def grade_details() -> tuple[str, ...]:
    """How grades are reckoned with."""
    return (
        _("Grades are steps without a measure, so nothing here is a mean of grades."),
        _("Behind each grade stands a liability that nobody measures. Where it passes a threshold, "
          "the next grade begins. Higher is worse."),
        _("The breed's shares are those of the tested dogs that the breed's picture counts."),
    )  # fmt: skip


def _per_cent(shares: Sequence[float]) -> tuple[int, ...]:
    return dealt(shares, 100)


def _heap(each: ExpectedGrades) -> Heap:
    steps = [
        grade
        for grade, count in enumerate(each.forecast.puppies(CIRCLES))
        for _circle in range(count)
    ]
    last = len(each.of.facts.trait.grades) - 1
    return around(steps, round(each.of.facts.middle), "lower", span=(0, last))


def _labels(each: ExpectedGrades, heap: Heap) -> LitterLabels:
    facts = each.of.facts
    trait = facts.trait
    middle = record_text(trait, facts.middle)
    return LitterLabels(
        title=each.lead,
        description=_("1 circle = 2 of 100 puppies"),
        better_end=_("Better grade") if heap.better else "",
        worse_end=_("Worse grade") if heap.worse else "",
        same=_("Grade %(grade)s") % {"grade": middle} if heap.same else "",
        circle=_("1 circle = 2 of 100 puppies"),
        middle=_("Breed's middle dog"),
        middle_value=middle,
        middle_step=round(facts.middle),
        is_graded=True,
        value=trait.value_text,
        parents=tuple(
            ParentNote(value.record, dog.short_name, record_text(trait, value.record))
            for dog, value in ((each.pair.sire, each.of.sire), (each.pair.dam, each.of.dam))
            if value.record is not None
        ),
    )
