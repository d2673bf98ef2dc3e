"""Facts of a dog and of an examination in words: a term and its value each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from registry.queries.public import CertificateRecord, PublicDog
from registry.wording import dates

_RESTRAINTS = {
    "sedation": gettext_lazy("Sedation"),
    "general-anaesthesia": gettext_lazy("General anaesthesia"),
    "none": gettext_lazy("No sedation"),
}


@dataclass(frozen=True, slots=True)
class Fact:
    """A term and its value, as ``parts/facts.html`` takes it."""

    term: str
    value: str
    href: str = ""
    change: str = ""


def dog_facts(dog: PublicDog) -> tuple[Fact, ...]:
    """What a reader can compare with the dog in front of them; of the chip the last six digits."""
    sexes = {"F": _("Female"), "M": _("Male")}
    facts = (
        Fact(_("Name"), dog.name),
        Fact(_("Called"), dog.call_name),
        Fact(_("Breed"), dog.breed, f"/breeds/{dog.breed_slug}/"),
        Fact(_("Sex"), sexes[dog.sex]),
        Fact(_("Born"), dates.day(dog.born_on)),
        Fact(_("Colour"), dog.colour),
        Fact(_("Chip ends in"), dog.chip[-6:]),
        Fact(_("Studbook number"), dog.studbook_number),
    )
    return tuple(fact for fact in facts if fact.value)


def exam_facts(record: CertificateRecord) -> tuple[Fact, ...]:
    """The examination: when, where, at what age, and how the dog was held still."""
    clinic = ", ".join(part for part in (record.clinic, record.clinic_town) if part)
    facts = (
        Fact(_("Examined"), dates.day(record.examined_on)),
        Fact(_("Age at the exam"), age_text(record.dog.born_on, record.examined_on)),
        Fact(_("Clinic"), clinic),
        Fact(_("Held still by"), _restraint(record.conditions)),
        Fact(_("Chip"), _("Read at the exam") if record.conditions.get("chip_read") else ""),
        Fact(_("Certificate issued"), dates.day(record.issued_at)),
    )
    return tuple(fact for fact in facts if fact.value)


def server_facts(record: CertificateRecord) -> tuple[Fact, ...]:
    """What the server's clock says beside the claimed day of the examination."""
    return (
        Fact(_("Sent in"), dates.day(record.submitted_at)),
        Fact(_("Announced"), announced_text(record)),
    )


def announced_text(record: CertificateRecord) -> str:
    """Whether and when the clinic had announced the examination, by the server's clock."""
    at = record.announced_at
    if at is None:
        return _("Not announced")
    if timezone.localdate(at) <= record.examined_on:
        return dates.day(at)
    return _("%(day)s, after the exam") % {"day": dates.day(at)}


def age_text(born_on: date, on: date) -> str:
    """``9 months``, ``2 years and 5 months``: whole months, months alone below two years."""
    months = (on.year - born_on.year) * 12 + on.month - born_on.month - (on.day < born_on.day)
    if months < 24:
        return _months(months)
    years, rest = divmod(months, 12)
    words = ngettext("%(years)d year", "%(years)d years", years) % {"years": years}
    if not rest:
        return words
    return _("%(years)s and %(months)s") % {"years": words, "months": _months(rest)}


def _months(months: int) -> str:
    return ngettext("%(months)d month", "%(months)d months", months) % {"months": months}


def _restraint(conditions: Mapping[str, Any]) -> str:
    return str(_RESTRAINTS.get(str(conditions.get("restraint", "")), ""))
