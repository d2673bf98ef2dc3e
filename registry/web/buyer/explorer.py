"""The explorer of a trait in a breed: over years and months, by sex, and by clinic for registrars.

Figures are drawn by Plotly from this server; each stands above its table of the same numbers, so
that nothing is lost without a script.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from csp.decorators import csp_update
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _

from registry.charts import figures
from registry.models import Membership, Role, Sex
from registry.queries.breeds import by_clinic, by_month
from registry.queries.distributions import distribution
from registry.queries.public import PublicTrait
from registry.science.distribution import Histogram
from registry.science.dots import heap
from registry.science.intervals import wilson
from registry.science.standing import FEWEST_TO_COMPARE
from registry.web.buyer.breed_page import (
    SEX_WORDS,
    SummaryRow,
    moment_of,
    plain_trait,
    summary_row,
)
from registry.web.buyer.breeds import breed_and_trait
from registry.web.buyer.budget import counted
from registry.web.buyer.open_page import open_page
from registry.wording import dates


@dataclass(frozen=True, slots=True)
class Plot:
    """A figure and the table of the same numbers; no figure where no group has enough dogs.

    ``middle`` and ``half`` head the columns of the rows' middle and middle half. Of a graded trait
    these are how many of 100 dogs have the best grade, and what that could be.
    """

    ident: str
    title: str
    figure: dict[str, Any] | None
    group: str
    middle: str
    half: str
    rows: tuple[SummaryRow, ...]


@csp_update({"style-src": list(figures.STYLE_HASHES)})
@open_page
@counted
def explore(request: HttpRequest, slug: str, trait_slug: str) -> HttpResponseBase:
    """Values over years and months, by sex; by clinic only for a registrar who is signed in."""
    breed, stored = breed_and_trait(slug, trait_slug)
    trait = plain_trait(stored)
    months, together = by_month(breed, stored)
    years: dict[str, Histogram] = {}
    for month, counts in months.items():
        year = str(month.year)
        years[year] = years[year].merge(counts) if year in years else counts
    sexes = {
        str(SEX_WORDS[sex]): distribution(breed=breed, trait=stored, sex=sex).histogram
        for sex in Sex.values
    }
    # Those in groups have no year, which would tell them apart: a row, and no place on the line.
    apart = {_("In groups"): together} if together.n else {}
    plots = [
        _over_time("years", _("By year of the exam"), _("Year"), years, trait, apart),
        *_finer(months, trait),
        _by_sex(sexes, trait),
    ]
    is_registrar = _is_registrar(request)
    if is_registrar:
        plots.append(_by_clinic(by_clinic(breed, stored), trait))
    context = {
        "breed": breed,
        "trait": trait,
        "lead": _lead(years, trait),
        "plots": plots,
        "as_of": moment_of(distribution(breed=breed, trait=stored)),
        "is_thin": not any(plot.ident in ("months", "quarters") for plot in plots),
        "up": f"/breeds/{breed.slug}/{trait.slug}/",
        "current": "breeds",
    }
    response = render(request, "buyer/explore.html", context)
    if is_registrar:
        response["Cache-Control"] = "private, no-store"
    return response


def _is_registrar(request: HttpRequest) -> bool:
    """Whether a registrar looks; a reader without a session's cookie is never asked for one."""
    if not request.COOKIES or not request.user.is_authenticated:
        return False
    return Membership.objects.filter(
        user=request.user, role=Role.REGISTRAR, ended_at__isnull=True
    ).exists()


def _lead(years: dict[str, Histogram], trait: PublicTrait) -> list[str]:
    """The first and the last year with enough dogs, side by side."""
    enough = {year: counts for year, counts in years.items() if counts.n >= FEWEST_TO_COMPARE}
    if len(enough) < 2:
        return [_("No two years have enough tested dogs to be held against each other.")]
    first, *_between, last = enough
    names = {
        "first": first,
        "last": last,
        "then": _row(trait, first, enough[first]).middle,
        "now": _row(trait, last, enough[last]).middle,
    }
    if trait.grades:
        said = _(
            "Of the dogs examined in %(first)s, %(then)s of 100 had the best grade, %(grade)s. In "
            "%(last)s it was %(now)s."
        ) % {**names, "grade": trait.grades[0]}
    else:
        said = (
            _("The middle dog of those examined in %(first)s had %(then)s. In %(last)s it had "
              "%(now)s.") % names
        )  # fmt: skip
    return [said, _("From year to year, chance alone moves such a number.")]


def _over_time(
    ident: str,
    title: str,
    group: str,
    parts: dict[str, Histogram],
    trait: PublicTrait,
    apart: dict[str, Histogram] | None = None,
) -> Plot:
    """The parts drawn over time, and their rows; those ``apart`` have a row alone."""
    figure = figures.over_time(
        _spreads(parts, trait),
        axes=figures.AxisWords(x=group, y=_measure(trait)),
        words=_spread_words(trait),
    )
    return _plot(ident, title, figure, group, parts, trait, apart)


def _plot(
    ident: str,
    title: str,
    figure: dict[str, Any],
    group: str,
    parts: dict[str, Histogram],
    trait: PublicTrait,
    apart: dict[str, Histogram] | None = None,
) -> Plot:
    is_drawn = any(counts.n >= FEWEST_TO_COMPARE for counts in parts.values())
    return Plot(
        ident=ident,
        title=title,
        figure=figure if is_drawn else None,
        group=group,
        middle=_measure(trait) if trait.grades else _("Middle"),
        half=_("could be") if trait.grades else _("Middle half"),
        rows=tuple(
            _row(trait, label, counts) for label, counts in {**parts, **(apart or {})}.items()
        ),
    )


def _measure(trait: PublicTrait) -> str:
    """What is drawn: the values, or of grades the share of the best."""
    if not trait.grades:
        return trait.name
    return _("With grade %(grade)s, of 100") % {"grade": trait.grades[0]}


def _row(trait: PublicTrait, group: str, counts: Histogram) -> SummaryRow:
    """A group's row; of grades, how many of 100 dogs have the best one, and what that could be."""
    if not trait.grades or counts.n < FEWEST_TO_COMPARE:
        return summary_row(trait, group, counts)
    low, share, high = _best_grade(counts)
    could_be = _("%(low)d to %(high)d") % {"low": round(low), "high": round(high)}
    return SummaryRow(group, f"{counts.n:,}", f"{share:.0f}", could_be)


def _best_grade(counts: Histogram) -> tuple[float, float, float]:
    """Of 100 dogs, those with the best grade, between the ends of the 95 % interval."""
    best = counts.at(0)
    low, high = wilson(best, counts.n)
    return 100 * low, 100 * best / counts.n, 100 * high


def _finer(months: dict[date, Histogram], trait: PublicTrait) -> list[Plot]:
    """By month where most months have enough dogs to be summed up, else by quarter, else nothing:
    a picture without a line would say nothing."""
    if _is_dense(months.values()):
        monthly = {dates.month(month): counts for month, counts in months.items()}
        return [_over_time("months", _("By month of the exam"), _("Month"), monthly, trait)]
    quarters: dict[str, Histogram] = {}
    for month, counts in months.items():
        name = _("Q%(quarter)d %(year)d") % {
            "quarter": (month.month + 2) // 3,
            "year": month.year,
        }
        quarters[name] = quarters[name].merge(counts) if name in quarters else counts
    if not _is_dense(quarters.values()):
        return []
    title = _("By quarter of the exam")
    return [_over_time("quarters", title, _("Quarter"), quarters, trait)]


def _is_dense(parts: Iterable[Histogram]) -> bool:
    """Whether at least half of the parts have enough dogs."""
    enough = [counts.n >= FEWEST_TO_COMPARE for counts in parts]
    return 2 * sum(enough) >= max(len(enough), 1)


def _by_sex(parts: dict[str, Histogram], trait: PublicTrait) -> Plot:
    columns = _columns(parts, trait)
    strata = [
        figures.Strata(
            label,
            [_value(low, high, trait) for low, high in columns],
            [counts.below(high + 1) - counts.below(low) for low, high in columns],
        )
        for label, counts in parts.items()
        if counts.n >= FEWEST_TO_COMPARE
    ]
    figure = figures.by_stratum(
        strata,
        axes=figures.AxisWords(x=trait.name, y=_("Dogs")),
        dogs=_("dogs"),
        is_graded=bool(trait.grades),
    )
    figure = _with_grades(figure, trait, "xaxis")
    return _plot("sexes", _("By sex, today's window"), figure, _("Sex"), parts, trait)


def _columns(parts: dict[str, Histogram], trait: PublicTrait) -> list[tuple[int, int]]:
    """The lowest and highest step of each column of the breed's picture; single steps would be a
    comb that nobody can read."""
    whole = Histogram.empty()
    for counts in parts.values():
        whole = whole.merge(counts)
    if not whole.n:
        return []
    return [(each.low_step, each.high_step) for each in heap(whole, None, trait.better).columns]


def _by_clinic(parts: dict[str, Histogram], trait: PublicTrait) -> Plot:
    figure = figures.by_group(
        _spreads(parts, trait), axis=_measure(trait), words=_spread_words(trait)
    )
    title = _("By clinic (only registrars see this)")
    return _plot("clinics", title, figure, _("Clinic"), parts, trait)


def _spreads(parts: dict[str, Histogram], trait: PublicTrait) -> list[figures.Spread]:
    return [
        figures.Spread(label, label, counts.n, *_quartiles(counts, trait))
        for label, counts in parts.items()
    ]


def _quartiles(counts: Histogram, trait: PublicTrait) -> Iterable[float | None]:
    """Lower, middle, upper; nothing for a group too small to summarise."""
    if counts.n < FEWEST_TO_COMPARE:
        return (None, None, None)
    if trait.grades:
        return tuple(round(each, 1) for each in _best_grade(counts))
    return tuple(
        round(counts.quantile(share) * float(trait.resolution), 6) for share in (0.25, 0.5, 0.75)
    )


def _value(low: int, high: int, trait: PublicTrait) -> float:
    """The middle of a column, in the trait's unit; of grades the grade's place."""
    return round((low + high) / 2 * float(trait.resolution), 6)


def _spread_words(trait: PublicTrait) -> figures.SpreadWords:
    if trait.grades:
        return figures.SpreadWords(
            lower=_("It could be as low as this"),
            middle=_measure(trait),
            upper=_("It could be as high as this"),
            dogs=_("Dogs"),
        )
    return figures.SpreadWords(
        lower=_("A quarter of the dogs lie below"),
        middle=_("The middle dog"),
        upper=_("A quarter of the dogs lie above"),
        dogs=_("Dogs"),
    )


def _with_grades(figure: figures.Figure, trait: PublicTrait, axis: str) -> figures.Figure:
    """Name the places of a graded trait by their grades."""
    if trait.grades:
        figure["layout"][axis] |= {
            "tickmode": "array",
            "tickvals": list(range(len(trait.grades))),
            "ticktext": list(trait.grades),
        }
    return figure
