"""The traits that come with the program: measured ones are installed, graded ones are on offer.

A club changes them or adds its own later. A grading scale is a convention, so none is presumed: the
club takes up one that is published, or writes grades of its own.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from registry.desk.actor import Actor
from registry.desk.catalogue import save_trait
from registry.desk.errors import Conflict, NotFound
from registry.models import Kind, Trait

# Names that former versions shipped; a name that the club has chosen itself is never touched.
_FORMER_NAMES = {
    "hip-laxity": "Hip laxity index",
    "hip-laxity-compression": "Hip laxity index, compression view",
}


@dataclass(frozen=True, slots=True)
class OfferedScale:
    """A published grading scale that the club does not use yet; ``grades`` are best first."""

    slug: str
    name: str
    grades: tuple[str, ...]
    source: str


def install_traits(*, by: Actor) -> list[Trait]:
    """Add the shipped measured traits that are missing and return them; what a club has changed
    stays."""
    with transaction.atomic():
        known = _known()
        return [
            _save(item, by=by)
            for item in _shipped()
            if item["slug"] not in known and item["kind"] == Kind.MEASURED
        ]


def offered_scales() -> list[OfferedScale]:
    """The shipped grading scales that are not in use."""
    known = _known()
    return [
        OfferedScale(item["slug"], item["name"], tuple(item["grades"]), item["sources"]["grades"])
        for item in _shipped()
        if item["kind"] == Kind.GRADED and item["slug"] not in known
    ]


def take_up_scale(*, by: Actor, slug: str) -> Trait:
    """Put an offered scale into use. From its first result on the scale cannot change."""
    item = next(
        (each for each in _shipped() if each["slug"] == slug and each["kind"] == Kind.GRADED), None
    )
    if item is None:
        raise NotFound(_("There is no such scale."))
    with transaction.atomic():
        if slug in _known():
            raise Conflict(_("This scale is in use already."))
        return _save(item, by=by)


def renew_words(*, by: Actor) -> list[Trait]:
    """Give the club's traits the names, guidance and sources of this version, where they still have
    those of a former one. Returns the traits that changed; each has its entry in the ledger."""
    shipped = {item["slug"]: item for item in _shipped()}
    renewed = []
    with transaction.atomic():
        for trait in Trait.objects.filter(slug__in=shipped):
            facts = _renewed(trait, shipped[trait.slug])
            if facts:
                renewed.append(save_trait(by=by, slug=trait.slug, facts=facts))
    return renewed


def _renewed(trait: Trait, item: dict[str, Any]) -> dict[str, Any]:
    """What differs. No page writes guidance or sources, so a point at the same value and a source
    of the same rule are former versions' words."""
    facts: dict[str, Any] = {}
    if trait.name == _FORMER_NAMES.get(trait.slug):
        facts["name"] = item["name"]
    if trait.guidance != item["guidance"] and _values(trait.guidance) == _values(item["guidance"]):
        facts["guidance"] = item["guidance"]
    if trait.sources != item["sources"] and trait.sources.keys() == item["sources"].keys():
        facts["sources"] = item["sources"]
    return facts


def _values(points: list[dict[str, Any]]) -> list[str]:
    return [str(point["value"]) for point in points]


def _save(item: dict[str, Any], *, by: Actor) -> Trait:
    facts = {name: value for name, value in item.items() if name != "slug"}
    return save_trait(by=by, slug=item["slug"], facts=facts)


def _known() -> set[str]:
    return set(Trait.objects.values_list("slug", flat=True))


def _shipped() -> list[dict[str, Any]]:
    path = settings.BASE_DIR / "fixtures" / "traits.json"
    shipped: list[dict[str, Any]] = json.loads(path.read_text("utf-8"))
    return shipped
