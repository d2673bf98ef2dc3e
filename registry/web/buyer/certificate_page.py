"""The content of a certificate's page, put together from the public reads: finished strings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import get_language, gettext_lazy, ngettext
from django.utils.translation import gettext as _

from registry.queries.breed_counts import count_rows, counts_from
from registry.queries.certificate_rows import CertificateRows
from registry.queries.counted_spans import Turn
from registry.queries.history import PublicEntry, entries_from
from registry.queries.places import newer_values, place_as_issued, without
from registry.queries.public import (
    CertificateRecord,
    Relative,
    Row,
    family_from,
    record_from,
)
from registry.science.microchip import END_LENGTH, has_digits
from registry.science.numbers import format_number
from registry.telling.facts import Fact, dog_facts, exam_facts, server_facts
from registry.telling.meanings import Moment
from registry.telling.verdicts import verdict_on
from registry.web.buyer.changes import Event, changed_facts
from registry.web.buyer.remembered import day_of_reading, section
from registry.web.shapes import SHAPES
from registry.wording import dates
from registry.wording.verdicts import Verdict, other_dog

_LOOKS = {
    "genuine": ("ring-tick", ""),
    "replaced": ("sheets", "plain"),
    "revoked": ("octagon-cross", "alarm"),
    "not-released": ("envelope", "plain"),
    "not-found": ("diamond-query", "plain"),
    "other-dog": ("two-rings", "alarm"),
}

_ROLES = {"sire": gettext_lazy("Sire"), "dam": gettext_lazy("Dam")}
_SEXES = {"F": gettext_lazy("female"), "M": gettext_lazy("male")}


@dataclass(frozen=True, slots=True)
class Look:
    """How a verdict is drawn: the path of its shape and its class in site.css."""

    path: str
    tone: str


@dataclass(frozen=True, slots=True)
class Compared:
    """How a comparison ended, as ``parts/notice.html`` takes it."""

    kind: str
    word: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """What a reader holds the certificate against; empty where nothing.

    ``dog`` is the name of another dog they came from, ``digits`` the 15 or 6 they read of a chip,
    ``typed`` their input where it is neither, and ``problem`` why.
    """

    dog: str = ""
    digits: str = ""
    typed: str = ""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Kin:
    """One relative in a list: who, and the released values or the words for none."""

    role: str
    name: str
    href: str
    born: str
    result: str
    is_tested: bool


@dataclass(frozen=True, slots=True)
class CertificatePage:
    """Everything the page says. ``compared`` answers a reader who compares it with a chip or comes
    from another dog; ``chip_problem`` says why what they typed cannot be compared."""

    number: str
    path: str
    title: str
    verdict: Verdict
    look: Look
    dog_name: str
    dog_href: str
    examined: str
    newer_href: str
    newer: str
    compared: Compared | None
    chip_typed: str
    chip_problem: str
    facts: tuple[Fact, ...]
    chip_end: str
    breed: str
    breed_href: str
    sections: tuple[SafeString, ...]
    parents: tuple[Kin, ...]
    litter: tuple[Kin, ...]
    litter_count: str
    details: tuple[Fact, ...]
    events: tuple[Event, ...]
    today: str


def look_of(verdict: Verdict) -> Look:
    """The shape and tone of a verdict."""
    shape, tone = _LOOKS[verdict.kind]
    return Look(SHAPES[shape], tone)


def certificate_page(
    rows: CertificateRows, *, now: datetime, asked: Asked = Asked()
) -> CertificatePage:
    """Put the page together from the rows; no further query but on a month's first days."""
    record = record_from(rows.certificate, rows.readings)
    entries = entries_from(rows.entries)
    verdict, compared = _compare(verdict_on(record, entries), record, asked)
    dog = record.dog
    counted = [read.trait for read in record.readings if read.trait.is_counted]
    family = family_from(rows.family, dog, counted)
    litter = [kin(each) for each in family if each.relation == "litter"]
    number = format_number(record.number)
    return CertificatePage(
        number=number,
        path=f"/C/{record.number}",
        title=_("%(verdict)s: certificate %(number)s")
        % {"verdict": verdict.word, "number": number},
        verdict=verdict,
        look=look_of(verdict),
        dog_name=dog.name,
        dog_href=f"/dogs/{dog.public_id}/",
        examined=_("Examined on %(day)s, sent in on %(sent)s")
        % {"day": dates.day(record.examined_on), "sent": dates.day(record.submitted_at)},
        newer_href=f"/C/{record.newer}" if verdict.kind == "replaced" and record.newer else "",
        newer=(
            _("Corrected certificate %(number)s")
            if record.is_corrected
            else _("Newer certificate %(number)s")
        )
        % {"number": format_number(record.newer)},
        compared=compared,
        chip_typed=asked.typed,
        chip_problem=asked.problem,
        facts=dog_facts(dog),
        chip_end=dog.chip[-END_LENGTH:],
        breed=dog.breed,
        breed_href=f"/breeds/{dog.breed_slug}/",
        sections=sections_of(record, now, rows.counts, rows.newer_values),
        parents=parents(family),
        litter=tuple(litter),
        litter_count=litter_count(litter),
        details=(*exam_facts(record), *server_facts(record)),
        events=events_of(record, entries),
        today=dates.day(timezone.localtime(now)),
    )


def _compare(
    verdict: Verdict, record: CertificateRecord, asked: Asked
) -> tuple[Verdict, Compared | None]:
    """The verdict and the notice beside it. That a certificate was taken back or replaced holds for
    whatever dog it is compared with, so it is never hidden by a comparison."""
    is_match = has_digits(record.dog.chip, asked.digits)
    if not asked.dog and (is_match or not asked.digits or not record.dog.chip):
        return verdict, _matches(asked.digits) if is_match else None
    end = asked.digits[-END_LENGTH:]
    about = asked.dog or _("the chip you typed, which ends in %(digits)s") % {"digits": end}
    other = other_dog(about, record.dog.name)
    is_over = verdict.kind in ("revoked", "replaced")
    if asked.dog:
        return (verdict, Compared("warning", other.word, other.lines)) if is_over else (other, None)
    return verdict if is_over else other, _differs(record.dog.chip, asked.digits)


def _matches(digits: str) -> Compared:
    said = (
        _("You typed %(digits)s. The chip on this certificate ends in these digits.")
        if len(digits) == END_LENGTH
        else _("You typed all 15 digits. They are those of the chip on this certificate.")
    )
    lines = (said % {"digits": digits}, _("Compare sex, colour and age with the dog too."))
    return Compared("success", _("It matches"), lines)


def _differs(chip: str, digits: str) -> Compared:
    end = digits[-END_LENGTH:]
    said = (
        _("You typed a number that ends in %(digits)s, as this chip does. The others differ.")
        if chip.endswith(end)
        else _("You typed a number that ends in %(digits)s. This chip ends in %(chip)s.")
    )
    lines = (said % {"digits": end, "chip": chip[-END_LENGTH:]}, _("Read the chip once more."))
    return Compared("warning", _("It does not match"), lines)


def kin(relative: Relative) -> Kin:
    """A relative as a line of a list; without released values the words say so."""
    role = _ROLES.get(relative.relation) or _SEXES[relative.sex]
    return Kin(
        role=str(role),
        name=relative.name,
        href=f"/dogs/{relative.public_id}/",
        born=str(relative.born_on.year),
        result=", ".join(
            f"{value.trait.name} {value.trait.value_text(value.step)}" for value in relative.values
        )
        or _("not tested or not released"),
        is_tested=bool(relative.values),
    )


def parents(family: tuple[Relative, ...]) -> tuple[Kin, ...]:
    """Sire and dam; one the register does not know is said so."""
    known = {each.relation: kin(each) for each in family if each.relation != "litter"}
    return tuple(
        known.get(relation)
        or Kin(str(role), _("Not in this register"), "", "", _("not tested or not released"), False)
        for relation, role in _ROLES.items()
    )


def litter_count(litter: list[Kin]) -> str:
    """How many of the litter mates have a released result."""
    if not litter:
        return _("No litter mates are in this register.")
    tested = sum(each.is_tested for each in litter)
    return ngettext(
        "Litter mate with a result to show: %(tested)d of %(all)d.",
        "Litter mates with a result to show: %(tested)d of %(all)d.",
        len(litter),
    ) % {"tested": tested, "all": len(litter)}


def events_of(record: CertificateRecord, entries: list[PublicEntry]) -> tuple[Event, ...]:
    """The certificate's history, newest first: every later change of what the page shows."""
    events = [event for entry in entries if (event := _event_of(record, entry))]
    events += [Event(_title_of(turn), turn.at) for turn in record.turns]
    events.sort(key=lambda event: event.at, reverse=True)
    events.append(Event(_("Certificate issued by the club"), record.issued_at))
    events.append(Event(_("Result sent in by the clinic"), record.submitted_at))
    if record.announced_at:
        events.append(Event(_("Examination announced by the clinic"), record.announced_at))
    events.append(Event(_("Dog examined"), record.examined_on))
    return tuple(events)


def _title_of(turn: Turn) -> str:
    """What another exam's coming or going meant for this one."""
    if turn.counts:
        return _("It counts now, as a newer exam no longer does")
    return (
        _("A newer exam took its place")
        if turn.is_whole
        else _("A newer exam counts for a part of it")
    )


def _event_of(record: CertificateRecord, entry: PublicEntry) -> Event | None:
    """A later change; None for what the page does not show or tells of by itself."""
    if entry.action in ("evaluation.revoked", "evaluation.replaced"):
        titles = {
            "evaluation.revoked": _("Taken back by the club"),
            "evaluation.replaced": _("Replaced by a corrected result"),
        }
        return Event(titles[entry.action], entry.at, reason=record.reason)
    if entry.action == "evaluation.consent":
        shown = _("Shown to everyone, as the owner agreed")
        return Event(
            shown if entry.published else _("No longer shown, as the owner wished"), entry.at
        )
    if entry.action in ("dog.corrected", "dog.merged") and entry.at > record.issued_at:
        changes = changed_facts(entry)
        title = (
            _("Facts of the dog put right")
            if entry.action == "dog.corrected"
            else _("Double entry of the dog merged")
        )
        if changes or entry.action == "dog.merged":
            return Event(title, entry.at, reason=entry.reason, changes=changes)
    return None


def sections_of(
    record: CertificateRecord,
    now: datetime,
    rows: tuple[Row, ...] | None = None,
    newer: tuple[tuple[int, int], ...] | None = None,
) -> tuple[SafeString, ...]:
    """The section of each counted trait of the record; one query or two unless the breed's rows,
    and the values of the dog's newer exams, are given."""
    counted = [read for read in record.readings if read.trait.is_counted]
    if not counted:
        return ()
    dog = record.dog
    evaluation_id = record.evaluation_pk
    if rows is None:
        rows = count_rows(dog.breed_id, now=now, evaluation_id=evaluation_id, with_within=True)
    counts = counts_from(
        rows, window_months=dog.window_months, now=now, evaluation_id=evaluation_id
    )
    counts = without(counts, newer_values(record, now=now) if newer is None else newer)
    moment = Moment(
        day_of_reading(timezone.localtime(now)),
        record.issued_at,
        record.examined_on,
        record.evaluation_pk,
        record.is_corrected,
    )
    return tuple(
        section(
            read,
            counts.of(read.trait.pk),
            counts.clinics.get(read.trait.pk, ()),
            counts.held,
            counts.within.get(read.trait.pk),
            (counts.first_month, counts.last_month),
            place_as_issued(record, read),
            dog.short_name,
            moment,
            place == 0,
            get_language(),
        )
        for place, read in enumerate(counted)
    )
