"""The breed's course by year of birth, and its numbers as CSV.

Figures are drawn by Plotly as the explorer's are: from this server, each above its table.
"""

from __future__ import annotations

import csv
import io

from csp.decorators import csp_update
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render

from registry.charts.figures import STYLE_HASHES
from registry.queries.course import NoCourse, course_of
from registry.telling.breeding import run_words
from registry.telling.course import course_told, csv_heads, csv_rows, why_no_course
from registry.web.buyer.breeds import breed_and_trait
from registry.web.buyer.open_page import open_page


@csp_update({"style-src": list(STYLE_HASHES)})
@open_page
def course(request: HttpRequest, slug: str, trait_slug: str) -> HttpResponseBase:
    """Results and genes by year of birth, share tested, inbreeding; or why there is nothing."""
    breed, trait = breed_and_trait(slug, trait_slug)
    found = course_of(breed.pk, trait.slug)
    told, reason = None, None
    if isinstance(found, NoCourse):
        reason = why_no_course(found)
    else:
        told = course_told(found)
    up = f"/breeds/{breed.slug}/{trait.slug}/"
    context = {
        "breed": breed,
        "trait": trait,
        "told": told,
        "reason": reason,
        "run": run_words(found.run) if found.run else None,
        "csv": f"{up}course.csv",
        "ahead": f"{up}ahead/",
        "up": up,
        "current": "breeds",
    }
    return render(request, "buyer/course.html", context)


@open_page
def course_csv(request: HttpRequest, slug: str, trait_slug: str) -> HttpResponseBase:
    """The course's numbers, unrounded, one row a year of birth."""
    breed, trait = breed_and_trait(slug, trait_slug)
    found = course_of(breed.pk, trait.slug)
    if isinstance(found, NoCourse):
        raise Http404
    text = io.StringIO()
    sheet = csv.writer(text)
    sheet.writerow(csv_heads(found))
    sheet.writerows(csv_rows(found))
    name = f"{breed.slug}-{trait.slug}-course-run-{found.run.number}.csv"
    return HttpResponse(
        text.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
