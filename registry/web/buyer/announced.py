"""Announced examinations on public pages: a dog's own, a breed's that stay open, and how a breed's
ended. Nothing here says whether a result is good or bad."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.models import Breed
from registry.queries.announcements import (
    Completeness,
    Outcome,
    PublicAnnouncement,
    completeness,
    open_for_long,
    summed,
)
from registry.science.numbers import format_number
from registry.web.buyer.open_page import open_page
from registry.wording import dates
from registry.wording.spreadsheets import harmless

HEADS = {
    Outcome.ACCEPTED: gettext_lazy("Accepted"),
    Outcome.REVOKED: gettext_lazy("Taken back"),
    Outcome.DECLINED: gettext_lazy("Declined"),
    Outcome.RESULT_WITHDRAWN: gettext_lazy("Result withdrawn"),
    Outcome.WITHDRAWN: gettext_lazy("No exam"),
    Outcome.WITH_CLUB: gettext_lazy("With the club"),
    Outcome.OPEN: gettext_lazy("Open"),
}


@dataclass(frozen=True, slots=True)
class AnnouncedLine:
    """One announcement: shape and word, what was announced, and the clinic's reason if any."""

    state: str
    word: str
    told: str
    reason: str
    reference: str
    dog: str
    dog_href: str


def announced_line(found: PublicAnnouncement) -> AnnouncedLine:
    """An announcement in words: what became of it, and what was said when."""
    state, word = _state(found)
    return AnnouncedLine(
        state=state,
        word=word,
        told=_("Announced on %(day)s for an exam on %(exam)s. Clinic: %(clinic)s.")
        % {
            "day": dates.day(found.announced_at),
            "exam": dates.day(found.examined_on),
            "clinic": found.clinic,
        },
        reason=found.reason,
        reference=format_number(found.reference),
        dog=found.dog,
        dog_href=f"/dogs/{found.dog_id}/",
    )


def _state(found: PublicAnnouncement) -> tuple[str, str]:
    if found.outcome == Outcome.OPEN:
        word = _("Examination announced, open since %(day)s")
        return "announced", word % {"day": dates.day(found.announced_at)}
    if found.outcome == Outcome.WITHDRAWN:
        day = dates.day(found.withdrawn_at) if found.withdrawn_at else ""
        return "called-off", _("Announcement withdrawn on %(day)s") % {"day": day}
    sent = {"day": dates.day(found.answered_at) if found.answered_at else ""}
    return {
        Outcome.WITH_CLUB: ("with-club", _("Result sent in on %(day)s, with the club") % sent),
        Outcome.ACCEPTED: ("current", _("Result accepted, see above")),
        Outcome.REVOKED: ("revoked", _("Result taken back, see above")),
        Outcome.DECLINED: (
            "not-accepted",
            _("Result sent in on %(day)s, not accepted by the club") % sent,
        ),
        Outcome.RESULT_WITHDRAWN: (
            "called-off",
            _("Result sent in on %(day)s, then withdrawn by the clinic") % sent,
        ),
    }[found.outcome]


@open_page
def still_open(request: HttpRequest, slug: str) -> HttpResponseBase:
    """What was announced more than 30 days ago and has neither a result nor a withdrawal."""
    breed = get_object_or_404(Breed, slug=slug)
    lines = [announced_line(each) for each in open_for_long(breed, at=timezone.now())]
    return render(request, "buyer/open.html", {"breed": breed, "lines": lines, "current": "breeds"})


@open_page
def complete(request: HttpRequest, slug: str) -> HttpResponseBase:
    """How the breed's announcements ended, by clinic and by the dogs' birth year."""
    breed = get_object_or_404(Breed, slug=slug)
    groups = completeness(breed)
    whole = summed(groups, lambda _group: str(_("All")))
    context = {
        "breed": breed,
        "groups": groups,
        "whole": whole[0][1] if whole else None,
        "heads": [_("Announced"), *HEADS.values()],
        "by_clinic": _table(summed(groups, lambda group: group.clinic) + whole),
        "by_year": _table(summed(groups, lambda group: group.birth_year) + whole),
        "current": "breeds",
    }
    return render(request, "buyer/complete.html", context)


@open_page
def complete_csv(request: HttpRequest, slug: str) -> HttpResponseBase:
    """The same counts as CSV, one line for each clinic and birth year."""
    breed = get_object_or_404(Breed, slug=slug)
    text = io.StringIO()
    sheet = csv.writer(text)
    sheet.writerow(["breed", "clinic", "birth_year", "announced", *(each.value for each in HEADS)])
    for group in completeness(breed):
        sheet.writerow(
            [harmless(breed.name), harmless(group.clinic), group.birth_year, *_numbers(group)]
        )
    name = f"{breed.slug}-announced-{timezone.localdate().isoformat()}.csv"
    return HttpResponse(
        text.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _table(groups: list[tuple[str, Completeness]]) -> list[list[str]]:
    return [[name, *(f"{number:,}" for number in _numbers(group))] for name, group in groups]


def _numbers(group: Completeness) -> list[int]:
    return [group.announced, *(group.counts[outcome] for outcome in HEADS)]
