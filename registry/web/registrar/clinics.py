"""How far the clinics differ in each trait, by name: for registrars, who may speak with them."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from registry.desk.actor import Actor
from registry.models import Breed, Trait
from registry.queries.clinic_effects import NamedEffect, named_effects
from registry.web.registrar.frame import framed, registrar_page


@dataclass(frozen=True, slots=True)
class ClinicRow:
    """One clinic: its difference in the trait's unit, the interval, and a word where that leaves
    out 0."""

    clinic: str
    records: str
    difference: str
    interval: str
    word: str


@dataclass(frozen=True, slots=True)
class TraitTable:
    """The clinics in one trait of a breed."""

    slug: str
    name: str
    rows: tuple[ClinicRow, ...]


@require_GET
@registrar_page
def clinics(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """A table for each measured trait of the breed asked for, or of the first."""
    breeds = list(Breed.objects.all())
    asked = request.GET.get("breed", "")
    breed = next((each for each in breeds if each.slug == asked), breeds[0] if breeds else None)
    tables = [_table(trait, found) for trait, found in named_effects(breed)] if breed else []
    context = framed("clinics", breed=breed, breeds=breeds, tables=tables)
    return render(request, "registrar/clinics.html", context)


def _table(trait: Trait, found: list[NamedEffect]) -> TraitTable:
    return TraitTable(trait.slug, trait.name, tuple(_row(trait, each) for each in found))


def _row(trait: Trait, named: NamedEffect) -> ClinicRow:
    effect = named.effect
    low, high = effect.interval()
    word = ""
    if effect.is_beyond_chance():
        is_better = (effect.effect < 0) == (trait.better_steps == "lower")
        word = _("differs, %(word)s") % {
            "word": trait.better_word if is_better else trait.worse_word
        }
    return ClinicRow(
        named.clinic,
        f"{effect.records:,}",
        _signed(trait, effect.effect),
        _("%(low)s to %(high)s") % {"low": _signed(trait, low), "high": _signed(trait, high)},
        word or _("could be chance"),
    )


def _signed(trait: Trait, number: float) -> str:
    """A difference to one place more than the trait is read, with its sign."""
    places = max(-int(trait.resolution.normalize().as_tuple().exponent), 0) + 1
    return f"{number:+.{places}f}{trait.unit}".replace("-", "\N{MINUS SIGN}")
