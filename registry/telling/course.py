"""A breed's course by year of birth: sentences, figures and the tables of the same numbers.

Facts of ``registry.queries.course`` in, finished strings and figures out, for the page, and the
rows of its CSV file. A look ahead is ``ahead``'s.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from registry.charts import course as drawn
from registry.charts.figures import AxisWords, Figure
from registry.queries.course import Course, NoCourse
from registry.queries.pairs import NoAnswer, Why
from registry.queries.public import PublicTrait
from registry.science.grade_forecast import GradedBreed
from registry.science.intervals import wilson
from registry.science.trend import FEWEST_DOGS, Mean, Year
from registry.telling import rounding
from registry.telling.breeding import Reason, hundredths, trait_words, why_words
from registry.telling.guidance import Note, notes_of
from registry.wording.course import (
    course_sentences,
    heritability_sentence,
    line_unknown_words,
    mean_decimals_of,
    size_sentences,
    size_unknown_words,
)
from registry.wording.grades import GradeCourse, course_of_grades, not_inherited_words
from registry.wording.standings import capitalised

CSV_HEADS = (
    "birth_year", "dogs", "tested", "tested_of_100",
    "result_mean", "result_low", "result_high",
    "genes_mean", "genes_low", "genes_high",
    "breeding_value_mean", "breeding_value_low", "breeding_value_high",
    "inbreeding_of_100",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Plot:
    """A figure, what is to be known of it, and the table of the same numbers."""

    ident: str
    title: str
    figure: Figure
    words: tuple[str, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class CourseTold:
    """What the page says; ``notes`` are the guidance points of the trait."""

    lead: tuple[str, ...]
    tested: str
    values: Plot
    notes: tuple[Note, ...]
    size: tuple[str, ...]
    inbreeding: Plot
    details: tuple[str, ...]


def course_told(course: Course) -> CourseTold:
    """Put the page together."""
    trait = course.facts.trait
    points = [_point(year, course) for year in course.trend.years]
    return CourseTold(
        lead=tuple(lead_of(course)),
        tested=_tested(course),
        values=_values(course, points),
        notes=notes_of(trait),
        size=tuple(size_of(course)),
        inbreeding=_inbreeding(course, points),
        details=tuple(_details(course)),
    )


def lead_of(course: Course) -> list[str]:
    """What the breed's genes did, first sentence first."""
    facts = course.facts
    trait = facts.trait
    if not facts.is_ranked:
        return [not_inherited_words(trait.name, facts.records)]
    if course.unknown is not None and not course.unknown.tells_line:
        return [line_unknown_words(course.unknown)]
    if facts.grades is not None:
        return _lead_of_grades(course, facts.grades)
    return course_sentences(
        course.trend.line,
        better=trait.better,
        words=trait_words(trait),
        resolution=trait.resolution,
        unit=trait.unit,
    )


def _lead_of_grades(course: Course, grades: GradedBreed) -> list[str]:
    """The same as shares of dogs with the best grade, along the straight line."""
    facts, line, last = course.facts, course.trend.line, course.last_year
    if line is None or last is None or last.value is None:
        return course_of_grades(None)
    mean, span = last.value.mean, line.last - line.first
    first, *could_be = (
        grades.shares_at(mean - span * each)[0] for each in (line.per_year, line.low, line.high)
    )
    return course_of_grades(
        GradeCourse(
            grade=facts.trait.grades[0],
            first_year=line.first,
            last_year=line.last,
            first=first,
            last=grades.shares_at(mean)[0],
            low=min(could_be),
            high=max(could_be),
            is_clear=not line.low <= 0 <= line.high,
        )
    )


def size_of(course: Course) -> list[str]:
    """How fast the breed loses variety."""
    found, unknown = course.size, course.unknown
    if unknown is not None and not unknown.tells_size:
        return [size_unknown_words(unknown)]
    if found is None:
        return size_sentences(None, first_year=0, last_year=0)
    return size_sentences(found.size, first_year=found.first_year, last_year=found.last_year)


def why_no_course(found: NoCourse) -> Reason:
    """Why there is nothing to show, and what can be done."""
    return why_words(NoAnswer(Why.NO_RUN if found.run is None else Why.NO_VALUES))


def csv_rows(course: Course) -> list[list[Any]]:
    """One row a year of birth, with one decimal more than the page; empty where there is none."""
    rows: list[list[Any]] = []
    for year in course.trend.years:
        record, genes = result_of(course, year), by_genes(course, year.value)
        means = [_csv_mean(mean, course.facts.trait) for mean in (record, genes, year.value)]
        rows.append(
            [year.year, year.dogs, year.tested, 100 * year.share_tested]
            + [number for mean in means for number in mean]
            + [100 * year.inbreeding]
        )
    return rows


def csv_heads(course: Course) -> tuple[str, ...]:
    """The columns of the file; of grades, results and genes are dogs with the best one, of 100."""
    if course.facts.grades is None:
        return CSV_HEADS
    return tuple(
        head.replace("result_", "best_grade_of_100_").replace("genes_", "best_by_genes_of_100_")
        for head in CSV_HEADS
    )


def result_of(course: Course, year: Year) -> Mean | None:
    """A year's mean result as it is told: of grades, the tested dogs with the best one, of 100."""
    mean = year.record
    if mean is None or course.facts.grades is None:
        return mean
    low, high = wilson(round(mean.mean * year.tested), year.tested)
    return Mean(100 * mean.mean, 100 * low, 100 * high)


def by_genes(course: Course, mean: Mean | None) -> Mean | None:
    """What dogs would have by their genes: the base and their breeding values, or of grades the
    share with the best one, of 100."""
    if mean is None:
        return None
    grades = course.facts.grades
    if grades is None:
        base = course.facts.base
        return Mean(base + mean.mean, base + mean.low, base + mean.high)
    # More liability is a worse grade, so the interval's ends change places.
    ends = (mean.mean, mean.high, mean.low)
    return Mean(*(100 * grades.shares_at(each)[0] for each in ends))


def mean_text(trait: PublicTrait, value: float) -> str:
    """A mean with one decimal more than a single value has; of grades, dogs of 100."""
    return f"{value:.{_decimals(trait)}f}{trait.unit}"


def _decimals(trait: PublicTrait) -> int:
    return 1 if trait.grades else mean_decimals_of(trait.resolution)


def grades_note(trait: PublicTrait) -> list[str]:
    """What is drawn of grades; nothing for a measured trait."""
    if not trait.grades:
        return []
    return [
        _("The height is the number of 100 dogs with grade %(grade)s, the best.")
        % {"grade": trait.grades[0]}
    ]


def _values(course: Course, points: Sequence[drawn.YearPoint]) -> Plot:
    trait = course.facts.trait
    best = {"grade": trait.grades[0]} if trait.grades else {}
    result = _("With grade %(grade)s, of 100") % best if best else _("Mean result")
    names = drawn.CourseWords(
        record=_("Tested dogs with grade %(grade)s, of 100") % best
        if best
        else _("Mean result of the tested dogs"),
        genes=_("All dogs, by their genes"),
        tested=_("Tested, of 100 dogs"),
        interval=_("could be between"),
    )
    figure = drawn.course(
        points,
        axes=AxisWords(x=_("Year of birth"), y=result if best else trait.name),
        words=names,
    )
    heads = (
        _("Born in"), _("Dogs"), _("Tested"), _("Tested, of 100"),
        result, _("could be"), _("By genes"), _("could be"),
    )  # fmt: skip
    return Plot(
        ident="course",
        title=capitalised(_("%(trait)s by year of birth") % {"trait": trait.name}),
        figure=figure,
        words=(
            _("The solid line shows all dogs born in a year, tested or not, by their genes."),
            _("The dashed line shows the results of tested dogs. Care and food count there too."),
            *_bars(course),
            _("A year with fewer than %(fewest)d dogs has no mean.") % {"fewest": FEWEST_DOGS},
            *grades_note(trait),
        ),
        heads=heads,
        rows=tuple(_row(year, course) for year in course.trend.years),
    )


def _bars(course: Course) -> list[str]:
    """What the thin bars are, and how often they were right where the truth is known.

    As measured in simulated breeds (mild, strong and no selection, up to three in ten litters
    without a sire or a dam on record): the line's interval held 80 to 97 times of 100, the yearly
    means' 82 to 96. Of grades that was not measured.
    """
    said = [
        _("The thin bars say how far off each mean may be. They are made to be right 95 times of "
          "100."),
        _("They leave out that the heritability is not known exactly, so they are too short.")
        if course.facts.trait.grades
        else _("In trials with invented breeds they were right 80 to 97 times."),
    ]  # fmt: skip
    if course.unknown is not None and not course.unknown.tells_line:
        said.append(_("Here so many parents are not known that they may be right less often."))
    return said


def _inbreeding(course: Course, points: Sequence[drawn.YearPoint]) -> Plot:
    name = _("Mean inbreeding, of 100")
    enough = [point for point in points if point.year not in course.trend.left_out]
    return Plot(
        ident="inbreeding",
        title=_("Inbreeding by year of birth"),
        figure=drawn.inbreeding(enough, axes=AxisWords(x=_("Year of birth"), y=name), name=name),
        words=(
            _("Inbreeding is 25 of 100 when a brother and a sister have puppies."),
            _(
                "A parent that nobody wrote down is taken to be as closely related as the known "
                "parents of the same year."
            ),
        ),
        heads=(_("Born in"), _("Dogs"), name),
        rows=tuple(
            (
                str(year.year),
                f"{year.dogs:,}",
                _("too few")
                if year.year in course.trend.left_out
                else inbreeding_text(year.inbreeding),
            )
            for year in course.trend.years
        ),
    )


def inbreeding_text(share: float) -> str:
    """Inbreeding of 100 with two decimals."""
    return f"{100 * share:.2f}"


def _row(year: Year, course: Course) -> tuple[str, ...]:
    trait = course.facts.trait
    return (
        str(year.year),
        f"{year.dogs:,}",
        f"{year.tested:,}",
        hundredths(year.share_tested),
        *_mean_cells(trait, result_of(course, year)),
        *_mean_cells(trait, by_genes(course, year.value)),
    )


def _mean_cells(trait: PublicTrait, mean: Mean | None) -> tuple[str, str]:
    if mean is None:
        return _("too few"), ""
    low, high = mean_text(trait, mean.low), mean_text(trait, mean.high)
    return mean_text(trait, mean.mean), _("%(low)s to %(high)s") % {"low": low, "high": high}


def _point(year: Year, course: Course) -> drawn.YearPoint:
    trait = course.facts.trait
    return drawn.YearPoint(
        year=year.year,
        record=_interval(trait, result_of(course, year)),
        genes=_interval(trait, by_genes(course, year.value)),
        tested_of_100=round(100 * year.share_tested, 1),
        inbreeding_of_100=round(100 * year.inbreeding, 2),
    )


def _interval(trait: PublicTrait, mean: Mean | None) -> drawn.Interval | None:
    """Drawn with the digits that the table shows, so that the two never differ."""
    if mean is None:
        return None
    digits = _decimals(trait)
    return drawn.Interval(*(round(each, digits) for each in (mean.mean, mean.low, mean.high)))


def _csv_mean(mean: Mean | None, trait: PublicTrait) -> tuple[Any, Any, Any]:
    if mean is None:
        return ("", "", "")
    low, middle, high = (
        rounding.mean_in_unit(each, trait) for each in (mean.low, mean.mean, mean.high)
    )
    return middle, low, high


def _tested(course: Course) -> str:
    """How many of the dogs of all the years were tested."""
    years = course.trend.years
    if not years:
        return ""
    dogs, tested = sum(year.dogs for year in years), sum(year.tested for year in years)
    return _(
        "Of %(dogs)s dogs born from %(first)d to %(last)d, %(tested)s were tested. Tested dogs are "
        "not all dogs."
    ) % {
        "dogs": f"{dogs:,}",
        "first": years[0].year,
        "last": years[-1].year,
        "tested": f"{tested:,}",
    }


def _details(course: Course) -> list[str]:
    facts = course.facts
    said = [heritability_sentence(facts.heritability, facts.heritability_se)]
    if facts.grades is not None:
        said.append(_("That is of the liability which stands behind the grades."))
    if not facts.is_ranked:
        said.append(not_inherited_words(facts.trait.name, facts.records))
    if facts.is_borrowed:
        said.append(_("This number is taken from published studies, not from this breed."))
    said.append(
        _("What a dog's genes are worth is worked out from its own result and all its relatives'.")
    )
    said.append(_("The sum allows for sex, clinic, year of the exam, age, and litter."))
    said.append(
        _(
            "A parent that nobody wrote down is taken as one like the known parents of the same "
            "year. In the first years it is taken as a founder."
        )
    )
    if course.trend.line is not None:
        said.append(
            _("The change is that of a straight line through the %(years)d yearly means.")
            % {"years": course.trend.line.years}
        )
    if course.trend.left_out:
        said.append(
            _("Left out, as too few dogs were born: %(years)s.")
            % {"years": ", ".join(str(year) for year in course.trend.left_out)}
        )
    return said
