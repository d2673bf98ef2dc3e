"""The breeds' pages: list, one breed, the distribution of a trait, its cells as CSV and JSON."""

from __future__ import annotations

import csv
import io
from datetime import date, datetime, time, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.http import http_date
from django.utils.translation import gettext_lazy as _

from registry.models import Breed, Sex, Trait
from registry.queries.breeds import breed_lines, by_month, cells_of
from registry.queries.clinic_effects import effects_of
from registry.queries.distributions import Distribution, distribution
from registry.queries.forecast_checks import forecast_outcomes
from registry.queries.litter_shares import birth_years
from registry.queries.public_dogs import public_traits
from registry.science.standing import FEWEST_TO_COMPARE
from registry.telling.fairness import clinics_said, newer_said
from registry.telling.forecast_outcomes import outcomes_told
from registry.telling.litter_shares import year_rows
from registry.web.buyer.breed_page import distribution_page, plain_trait
from registry.web.buyer.open_page import open_page
from registry.web.forms import PlainDateField, PlainForm
from registry.wording.spreadsheets import harmless


class AsOfForm(PlainForm):
    """Any past day: the distribution as it was served then."""

    as_of = PlainDateField(label=_("As of"), required=False)

    def instant(self) -> datetime | None:
        """The last moment of the day asked for; None for today, a day to come, or a slip."""
        day: date | None = self.cleaned_data.get("as_of") if self.is_valid() else None
        if day is None or day >= timezone.localdate():
            return None
        midnight = datetime.combine(day + timedelta(days=1), time.min)
        return timezone.make_aware(midnight) - timedelta(microseconds=1)


@open_page
def breeds(request: HttpRequest) -> HttpResponseBase:
    """All breeds with how many dogs are tested."""
    return render(request, "buyer/breeds.html", {"breeds": breed_lines(), "current": "breeds"})


@open_page
def breed(request: HttpRequest, slug: str) -> HttpResponseBase:
    """One breed: its traits, each with how many dogs are tested, and what came of forecasts."""
    breed = get_object_or_404(Breed, slug=slug)
    line = next(line for line in breed_lines() if line.slug == slug)
    outcomes = outcomes_told(public_traits(), forecast_outcomes(breed.pk))
    years = year_rows(birth_years(breed.pk), timezone.localdate().year)
    context = {"breed": line, "outcomes": outcomes, "years": years, "current": "breeds"}
    context["year_heads"] = [_("Born"), _("Puppies"), _("Tested"), _("Of 100")]
    return render(request, "buyer/breed.html", context)


@open_page
def trait(request: HttpRequest, slug: str, trait_slug: str) -> HttpResponseBase:
    """The distribution of one trait, today or as of a past day."""
    breed, trait = breed_and_trait(slug, trait_slug)
    form = AsOfForm(request.GET or None)
    whole = distribution(breed=breed, trait=trait, as_of=form.instant())
    by_sex = {
        sex: distribution(breed=breed, trait=trait, sex=sex, as_of=form.instant()).histogram
        for sex in Sex.values
    }
    fairness = () if form.instant() else _fairness(breed, trait, whole)
    context = {
        "page": distribution_page(breed, trait, whole, by_sex, fairness),
        "form": form,
        "here": request.path,
        "query": f"?as_of={form.data['as_of']}" if form.instant() else "",
        "breed_href": f"/breeds/{breed.slug}/",
        "current": "breeds",
    }
    return render(request, "buyer/distribution.html", context)


def _fairness(breed: Breed, stored: Trait, whole: Distribution) -> tuple[str, ...]:
    """What to know of a comparison with today's counts."""
    trait = plain_trait(stored)
    months, _together = by_month(breed, stored)
    return (
        *newer_said(trait, months, whole.last_month),
        *clinics_said(trait, whole.histogram, effects_of(breed, stored)),
    )


@open_page
def cells_csv(request: HttpRequest, slug: str, trait_slug: str) -> HttpResponseBase:
    """The distribution's cells as CSV; texts are made harmless for spreadsheets."""
    breed, trait, whole, rows = _cells(request, slug, trait_slug)
    text = io.StringIO()
    sheet = csv.writer(text)
    sheet.writerow(["breed", "trait", "sex", "month", "value", "dogs"])
    for row in rows:
        sheet.writerow(
            [harmless(breed.name), harmless(trait.name), row["sex"], row["month"],
             harmless(row["value"]), row["dogs"]]
        )  # fmt: skip
    name = f"{breed.slug}-{trait.slug}-{timezone.localdate(whole.as_of).isoformat()}.csv"
    return HttpResponse(
        text.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            **({"Last-Modified": http_date(whole.state_at.timestamp())} if whole.state_at else {}),
        },
    )


@open_page
def cells_json(request: HttpRequest, slug: str, trait_slug: str) -> HttpResponseBase:
    """The distribution's cells as JSON."""
    breed, trait, whole, rows = _cells(request, slug, trait_slug)
    return JsonResponse(
        {
            "breed": breed.slug,
            "trait": trait.slug,
            "unit": trait.unit,
            "as_of": timezone.localdate(whole.as_of).isoformat(),
            "state_at": whole.state_at.isoformat() if whole.state_at else None,
            "first_month": whole.first_month.isoformat(),
            "last_month": whole.last_month.isoformat(),
            "dogs": whole.histogram.n,
            "cells": rows,
        }
    )


def breed_and_trait(slug: str, trait_slug: str) -> tuple[Breed, Trait]:
    """The breed and the counted trait of an address, or 404."""
    breed = get_object_or_404(Breed, slug=slug)
    return breed, get_object_or_404(Trait, slug=trait_slug, is_counted=True)


def _cells(
    request: HttpRequest, slug: str, trait_slug: str
) -> tuple[Breed, Trait, Distribution, list[dict[str, Any]]]:
    """The cells as rows; none below twenty dogs, where a cell would point at one dog. The month is
    empty where values came in together, as it would tell them apart."""
    breed, trait = breed_and_trait(slug, trait_slug)
    whole = distribution(breed=breed, trait=trait, as_of=AsOfForm(request.GET).instant())
    shown = plain_trait(trait)
    cells = cells_of(breed, trait, whole) if whole.histogram.n >= FEWEST_TO_COMPARE else []
    rows = [
        {
            "sex": cell.sex,
            "month": cell.month.strftime("%Y-%m") if cell.month else "",
            "value": trait.value_text(cell.step) if not shown.grades else shown.grades[cell.step],
            "dogs": cell.dogs,
        }
        for cell in cells
    ]
    return breed, trait, whole, rows
