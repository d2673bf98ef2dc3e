"""Merge two entries of one dog: everything of the second moves to the first, and the second's id
and chip go on leading to it.

What speaks against a merge is asked here too, so that a page can show it beforehand. Nothing that
was decided is decided again: results keep their states unless one of them overtakes another.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from django.db import models, transaction
from django.utils.translation import gettext as _

from registry import clock
from registry.desk import reasons
from registry.desk.actor import Actor, require_role
from registry.desk.counting import CountedDog, recount
from registry.desk.errors import Conflict, Invalid, NotFound, Problem
from registry.desk.known_dogs import dog_by_id
from registry.desk.naming import forget_name, index_name, search_name
from registry.desk.parentage import (
    SEX_OF,
    Birth,
    Known,
    ancestors_of,
    hold_pedigree,
    litters_of,
    why_not_litter,
    why_not_parent,
)
from registry.desk.ties import refuse_tied
from registry.ledger import Change, append
from registry.models import (
    Announcement,
    CountedValue,
    Dog,
    DogAlias,
    Draft,
    Evaluation,
    Role,
)
from registry.wording import dates

# Every relation of a dog, and with it everything that has to move. A test holds this list to the
# models, so that a relation added tomorrow is not forgotten.
MOVED: tuple[tuple[models.Manager[Any], str], ...] = (
    (Evaluation.objects, "dog"),
    (Announcement.objects, "dog"),
    (CountedValue.objects, "dog"),
    (Draft.objects, "dog"),
    (Dog.objects, "sire"),
    (Dog.objects, "dam"),
    (DogAlias.objects, "dog"),
)
# What the kept entry takes over where it says nothing itself.
FILLED = ("call_name", "died_on", "colour", "chip", "studbook_number", "sire", "dam")
FACTS = ("name", "call_name", "breed", "sex", "born_on", *FILLED[1:])
BIRTH_DATE, CHIPS = "birth-date", "chips"


@dataclass(frozen=True, slots=True)
class Against:
    """What speaks against a merge: reasons that stop it, and doubts by the word that confirms
    them."""

    stops: tuple[str, ...]
    doubts: dict[str, str]


def merge_dogs(
    *,
    by: Actor,
    keep: str,
    drop: str,
    versions: tuple[int, int] | None,
    reason: str,
    confirmed: Collection[str] = (),
) -> Dog:
    """Merge the entry ``drop`` into ``keep`` (public ids) and return the kept dog.

    ``versions`` are those of both entries as the registrar saw them, None for whatever holds now.
    ``confirmed`` names the doubts that the registrar has looked at (``BIRTH_DATE``, ``CHIPS``).
    Raises Invalid with what speaks against it, Conflict when one of them was changed meanwhile.
    """
    require_role(by, Role.REGISTRAR)
    reason = reasons.needed(reason, _("Say why these are one dog."))
    with transaction.atomic():
        hold_pedigree()
        kept, dropped = _held(keep, drop)
        if versions is not None and versions != (kept.version, dropped.version):
            raise Conflict(
                _("Somebody changed one of these dogs while you compared them. Compare them again.")
            )
        _check_ties(by, kept, dropped)
        _check(against(kept, dropped), confirmed)
        _merge(by, kept, dropped, reason)
    return kept


def against(kept: Dog, dropped: Dog) -> Against:
    """What speaks against merging these two, in words that say what to do."""
    if kept.pk == dropped.pk:
        return Against((_("This is the same entry. Choose the other one."),), {})
    stops = []
    if kept.sex != dropped.sex:
        stops.append(_("One is female and one is male. Correct the sex that is wrong first."))
    if kept.breed_id != dropped.breed_id:
        stops.append(_("They are of different breeds. Correct the breed that is wrong first."))
    if kept.pk in ancestors_of(dropped) or dropped.pk in ancestors_of(kept):
        stops.append(
            _("One is an ancestor of the other. Correct the parents that are wrong first.")
        )
    if not stops:
        stops += _misfits(kept, dropped)
    doubts = {}
    if kept.born_on != dropped.born_on:
        doubts[BIRTH_DATE] = _(
            "They were born on different days: %(one)s and %(other)s. The day of the kept entry"
            " stays."
        ) % {"one": dates.day(kept.born_on), "other": dates.day(dropped.born_on)}
    if kept.chip and dropped.chip:
        doubts[CHIPS] = _(
            "They have different chips: %(one)s and %(other)s. A dog can carry two; both will lead"
            " to the kept entry."
        ) % {"one": kept.chip, "other": dropped.chip}
    return Against(tuple(stops), doubts)


def filled(kept: Dog, dropped: Dog) -> dict[str, Any]:
    """What the kept entry takes over from the dropped one, since it says nothing itself."""
    return {
        name: getattr(dropped, name)
        for name in FILLED
        if not getattr(kept, name) and getattr(dropped, name)
    }


def _misfits(kept: Dog, dropped: Dog) -> list[str]:
    """Why relatives of the one do not fit the other: parents taken over, offspring, litters."""
    taken = filled(kept, dropped)
    found = []
    birth = Birth(kept.breed, kept.born_on)
    for role in SEX_OF:
        if parent := taken.get(role):
            why = why_not_parent(Known.of(parent), role, birth)
            if not why and role == "dam":
                litters = litters_of(parent, kept.born_on, besides=dropped)
                why = why_not_litter(parent.name, kept.born_on, litters)
            found.append(why)
    merged = Known.of(kept)._replace(died_on=taken.get("died_on", kept.died_on))
    role = "sire" if kept.sex == SEX_OF["sire"] else "dam"
    young = Dog.objects.filter(**{f"{role}__in": (kept, dropped)}).select_related("breed")
    births = sorted({(each.born_on, each.breed) for each in young}, key=lambda birth: birth[0])
    for born_on, breed in births:
        found.append(why_not_parent(merged, role, Birth(breed, born_on)))
    if role == "dam":
        days = [born_on for born_on, _breed in births]
        found += [why_not_litter(kept.name, day, days[:at]) for at, day in enumerate(days)]
    return list(dict.fromkeys(why for why in found if why))


def _held(keep: str, drop: str) -> tuple[Dog, Dog]:
    """Both entries, held until the commit in the order of their keys."""
    rows = Dog.objects.select_related("breed", "sire", "dam").select_for_update(of=("self",))
    by_id = {dog.public_id: dog for dog in rows.filter(public_id__in=(keep, drop)).order_by("pk")}
    for public_id in (keep, drop):
        if public_id in by_id:
            continue
        heir = dog_by_id(public_id)
        if heir is None:
            raise NotFound(_("There is no such dog."))
        raise Conflict(
            _("This entry was merged into %(dog)s already. Look at that dog.") % {"dog": heir.name}
        )
    return by_id[keep], by_id[drop]


def _check_ties(by: Actor, kept: Dog, dropped: Dog) -> None:
    """A merge can change which result counts, so nobody merges where they may not decide."""
    results = Evaluation.objects.filter(dog__in=(kept, dropped))
    refuse_tied(by, results.values_list("pk", flat=True))


def _check(said: Against, confirmed: Collection[str]) -> None:
    problems = [Problem("/drop", stop) for stop in said.stops]
    problems += [
        Problem("/confirmed", _("%(doubt)s Confirm it if it is right.") % {"doubt": doubt})
        for word, doubt in said.doubts.items()
        if word not in confirmed
    ]
    if problems:
        raise Invalid(problems)


def _merge(by: Actor, kept: Dog, dropped: Dog, reason: str) -> None:
    """Move everything, fill what is empty, and say so in one entry of the kept dog."""
    at = clock.now()
    taken = filled(kept, dropped)
    before = {name: getattr(kept, name) for name in taken}
    moved = _move(kept, dropped, at)
    alias_chip = None if "chip" in taken else dropped.chip
    facts = {name: getattr(dropped, name) for name in FACTS}
    dropped_id, is_confirmed = dropped.public_id, dropped.is_confirmed
    forget_name(dropped.pk)
    dropped.delete()
    DogAlias.objects.create(dog=kept, public_id=dropped_id, chip=alias_chip)
    for name, value in taken.items():
        setattr(kept, name, value)
    kept.is_confirmed = kept.is_confirmed or is_confirmed
    kept.search_name = search_name(kept.name, kept.call_name)
    kept.version += 1
    kept.save()
    index_name(kept.pk, kept.search_name)
    recount(dog=CountedDog.of(kept), at=at)
    append(
        by=by,
        action="dog.merged",
        subject=f"dog:{kept.public_id}",
        dog=kept.public_id,
        changes={
            "merged_from": Change(dropped_id, kept.public_id),
            **{name: Change(_plain(before[name]), _plain(taken[name])) for name in taken},
            **{f"dropped.{name}": Change(_plain(value), None) for name, value in facts.items()},
            **{f"moved.{name}": Change(None, ids) for name, ids in moved.items()},
        },
        reason=reason,
    )


def _move(kept: Dog, dropped: Dog, at: Any) -> dict[str, list[str]]:
    """Let every row that names the dropped dog name the kept one; returns public ids of those that
    have one."""
    results = Evaluation.objects.filter(dog=dropped).order_by("pk")
    young = (dropped.sired.all() | dropped.whelped.all()).order_by("pk")
    moved = {
        "evaluations": list(results.values_list("public_id", flat=True)),
        "offspring": list(young.values_list("public_id", flat=True)),
    }
    results.update(dog=kept)
    # Nothing is left that could count for the dropped dog: its values end before they move.
    recount(dog=CountedDog.of(dropped), at=at)
    for rows, field in MOVED:
        rows.filter(**{field: dropped}).update(**{field: kept})
    return moved


def _plain(value: Any) -> Any:
    if isinstance(value, Dog):
        return value.public_id
    return getattr(value, "slug", value)
