"""Forecasts and courses of ordered grades in sentences: shares of dogs with a grade, nothing else.

Grades have no distances, so nothing here speaks of a mean, a spread or a place between two grades.
Shares come in and plain translated sentences go out. What measured traits say is in ``breeding``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.science.grade_forecast import GradeForecast, dealt
from registry.wording.breeding import of_100


def best_grade_words(forecast: GradeForecast, grades: Sequence[str]) -> str:
    """How many puppies may have the best grade, beside the breed's dogs: one sentence."""
    return _(
        "Of 100 puppies, %(count)s are expected with grade %(grade)s, the best. In the breed it is "
        "%(breed)s."
    ) % {
        "count": _counts(forecast.shares)[0],
        "grade": grades[0],
        "breed": _counts(forecast.breed_shares)[0],
    }


def other_grades_words(forecast: GradeForecast, grades: Sequence[str]) -> str:
    """How many may have each of the other grades, those left out that the breed has not."""
    others = [
        _("%(count)s with grade %(grade)s") % {"count": count, "grade": grade}
        for grade, count, breed in zip(
            grades[1:], _counts(forecast.shares)[1:], forecast.breed_shares[1:], strict=True
        )
        if breed > 0
    ]
    if not others:
        return _("No tested dog of the breed has another grade.")
    return _("Of the others: %(grades)s.") % {"grades": ", ".join(others)}


@dataclass(frozen=True)
class GradeCourse:
    """Shares (0 to 1) of dogs with the best grade, by their genes: the first and last birth year's,
    and between which the first one's could be; ``is_clear``: the interval leaves out no change."""

    grade: str
    first_year: int
    last_year: int
    first: float
    last: float
    low: float
    high: float
    is_clear: bool


def course_of_grades(course: GradeCourse | None) -> list[str]:
    """What the breed's genes did from the first to the last birth year; None: too few years."""
    if course is None:
        return [_("There are too few birth years to tell where the breed's genes go.")]
    said = []
    if not course.is_clear:
        said.append(
            _("It is not clear that the breed's genes moved from %(first)d to %(last)d.")
            % {"first": course.first_year, "last": course.last_year}
        )
    said += [
        _("By their genes, %(count)s of 100 dogs born in %(year)d would have grade %(grade)s.")
        % {
            "count": of_100(course.last, 1),
            "year": course.last_year,
            "grade": course.grade,
        },
        _("Of those born in %(year)d it was %(count)s. It could be %(low)d to %(high)d.")
        % {
            "year": course.first_year,
            "count": of_100(course.first, 1),
            "low": round(100 * course.low),
            "high": round(100 * course.high),
        },
    ]
    return said


def not_inherited_words(trait: str, dogs: int) -> str:
    """That it is not known how far a trait is inherited in the breed."""
    return ngettext(
        "%(trait)s: the result of %(dogs)s dog does not tell yet how far this is inherited here.",
        "%(trait)s: the results of %(dogs)s dogs do not tell yet how far this is inherited here.",
        dogs,
    ) % {"trait": trait, "dogs": f"{dogs:,}"}


def borrowed_share_words(heritability: float) -> str:
    """From where the heritability is that forecasts are made with all the same."""
    return _(
        "The forecast borrows from published studies: about %(parts)d of 100 parts of what sets "
        "dogs apart come from genes."
    ) % {"parts": round(100 * heritability)}


def no_look_ahead_words() -> str:
    """Why what keeping the best would bring is not told for grades."""
    return _(
        "Many dogs share the best grade, so nobody could choose the best among them by grade. "
        "A sum of what choosing would bring would be a guess. The list of mates and each pair's "
        "page say what to expect of a litter."
    )


def _counts(shares: Sequence[float]) -> list[str]:
    """Shares as numbers of 100 that add up, the same as in the table: ``about 64``."""
    return [
        of_100(share, 1) if share in {0, 1} or count in {0, 100} else of_100(count / 100, 1)
        for share, count in zip(shares, dealt(shares, 100), strict=True)
    ]
