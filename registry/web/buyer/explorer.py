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
    """A figure and the table of the same numbers."""

    ident: str
    title: str
    figure: dict[str, Any]
    group: str
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
    if together.n:
        # They have no year: it would tell the results of a group apart.
        years[_("In groups")] = together
    sexes = {
        str(SEX_WORDS[sex]): distribution(breed=breed, trait=stored, sex=sex).histogram
        for sex in Sex.values
    }
    plots = [
        _over_time("years", _("By year of the exam"), _("Year"), years, trait),
        *_finer(months, trait),
        _by_sex(sexes, trait),
    ]
    is_registrar = _is_registrar(request)
    if is_registrar:
        plots.append(_by_clinic(by_clinic(breed, stored), trait))
    context = {
        "breed": breed,
        "trait": trait,
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


def _over_time(
    ident: str, title: str, group: str, parts: dict[str, Histogram], trait: PublicTrait
) -> Plot:
    figure = figures.over_time(
        _spreads(parts, trait),
        axes=figures.AxisWords(x=group, y=trait.name),
        words=_spread_words(),
    )
    return Plot(ident, title, _with_grades(figure, trait, "yaxis"), group, _rows(parts, trait))


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
    strata = [
        figures.Strata(
            label,
            [_value(step, trait) for step, _dogs in counts.rows()],
            [dogs for _step, dogs in counts.rows()],
        )
        for label, counts in parts.items()
        if counts.n >= FEWEST_TO_COMPARE
    ]
    figure = figures.by_stratum(
        strata,
        axes=figures.AxisWords(x=trait.name, y=_("Dogs")),
        dogs=_("dogs"),
    )
    figure = _with_grades(figure, trait, "xaxis")
    return Plot("sexes", _("By sex, today's window"), figure, _("Sex"), _rows(parts, trait))


def _by_clinic(parts: dict[str, Histogram], trait: PublicTrait) -> Plot:
    figure = figures.by_group(_spreads(parts, trait), axis=trait.name, words=_spread_words())
    figure = _with_grades(figure, trait, "xaxis")
    title = _("By clinic (only registrars see this)")
    return Plot("clinics", title, figure, _("Clinic"), _rows(parts, trait))


def _spreads(parts: dict[str, Histogram], trait: PublicTrait) -> list[figures.Spread]:
    return [
        figures.Spread(label, label, counts.n, *_quartiles(counts, trait))
        for label, counts in parts.items()
    ]


def _quartiles(counts: Histogram, trait: PublicTrait) -> Iterable[float | None]:
    """Lower, middle, upper; nothing for a group too small to summarise."""
    if counts.n < FEWEST_TO_COMPARE:
        return (None, None, None)
    return tuple(
        round(counts.quantile(share) * float(trait.resolution), 6) for share in (0.25, 0.5, 0.75)
    )


def _rows(parts: dict[str, Histogram], trait: PublicTrait) -> tuple[SummaryRow, ...]:
    return tuple(summary_row(trait, label, counts) for label, counts in parts.items())


def _value(step: int, trait: PublicTrait) -> float:
    return round(step * float(trait.resolution), 6)


def _spread_words() -> figures.SpreadWords:
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
