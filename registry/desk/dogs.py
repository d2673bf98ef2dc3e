"""Register a dog, put its facts right, confirm one that a clinic added.

A clinic may add the dog in front of it when the register does not know it; a registrar confirms it
later.
Correcting breed or sex moves the dog's counted values, in the same transaction.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from registry import clock
from registry.desk import reasons
from registry.desk.actor import Actor, require_role
from registry.desk.counting import CountedDog, recount
from registry.desk.dog_facts import DogFacts, facts_from, plain_values
from registry.desk.errors import Conflict, Invalid, NotFound, Problem
from registry.desk.known_dogs import chip_is_taken_over, dog_by_chip, dog_by_id
from registry.desk.naming import index_name, search_name
from registry.desk.parentage import (
    Birth,
    Known,
    ParentRole,
    ancestors_of,
    descends,
    hold_pedigree,
    litters_of,
    offspring_problems,
    same_parent_twice,
    why_not_litter,
    why_not_parent,
)
from registry.desk.ties import refuse_family
from registry.ledger import Change, append
from registry.models import Breed, Dog, Role
from registry.science.microchip import ChipProblem, parse_chip

# Who is kept from deciding follows from these, and in which counts a result of the dog stands.
_TIED = ("sire", "dam", "born_on", "breed", "sex")

__all__ = [
    "DogFacts",
    "chip_taken",
    "claimed",
    "confirm_dog",
    "correct_dog",
    "dog_named",
    "dog_with_chip",
    "facts_from",
    "register_dog",
    "write_changes",
    "write_new",
]


def register_dog(*, by: Actor, facts: DogFacts) -> Dog:
    """Add a dog. Raises Invalid for facts that cannot be, Conflict when the chip is another
    dog's."""
    require_role(by, Role.CLINIC, Role.REGISTRAR, Role.SECRETARY)
    with transaction.atomic():
        hold_pedigree()
        return write_new(by=by, values=_checked(facts))


def write_new(
    *, by: Actor, values: Mapping[str, Any], origin: Mapping[str, Change] | None = None
) -> Dog:
    """Write a dog whose values were checked, inside the caller's transaction, with its entry.

    ``values`` are columns with model objects for breed and parents; ``origin`` goes into the entry
    beside them.
    """
    dog = Dog(**values, is_confirmed=by.role != Role.CLINIC)
    dog.search_name = search_name(dog.name, dog.call_name)
    _save(dog)
    index_name(dog.pk, dog.search_name)
    changes = {name: Change(None, _plain(value)) for name, value in values.items() if value}
    append(
        by=by,
        action="dog.registered",
        subject=f"dog:{dog.public_id}",
        dog=dog.public_id,
        changes={**changes, **(origin or {})},
    )
    return dog


def correct_dog(*, by: Actor, dog_id: str, version: int, facts: DogFacts, reason: str) -> Dog:
    """Put a dog's facts right. ``version`` is the one the registrar saw; a newer one is a
    Conflict. What ties hang on, an owner of the dog or of its close family leaves to others."""
    require_role(by, Role.REGISTRAR, Role.SECRETARY)
    reason = reasons.needed(reason, _("Say why the facts are changed."))
    with transaction.atomic():
        hold_pedigree()
        dog = claimed(dog_id, version)
        values = _checked(facts, dog=dog)
        if any(getattr(dog, name) != values[name] for name in _TIED):
            refuse_family(by, dog.pk)
        write_changes(by=by, dog=dog, values=values, reason=reason)
    return dog


def write_changes(
    *,
    by: Actor,
    dog: Dog,
    values: Mapping[str, Any],
    reason: str,
    origin: Mapping[str, Change] | None = None,
) -> None:
    """Write checked values over a claimed dog's, inside the caller's transaction, with its
    entry."""
    changes = {
        name: Change(_plain(getattr(dog, name)), _plain(value))
        for name, value in values.items()
        if getattr(dog, name) != value
    }
    for name, value in values.items():
        setattr(dog, name, value)
    dog.search_name = search_name(dog.name, dog.call_name)
    _save(dog)
    index_name(dog.pk, dog.search_name)
    if {"breed", "sex"} & set(changes):
        recount(dog=CountedDog.of(dog), at=clock.now())
    append(
        by=by,
        action="dog.corrected",
        subject=f"dog:{dog.public_id}",
        dog=dog.public_id,
        changes={**changes, **(origin or {})},
        reason=reason,
    )


def confirm_dog(*, by: Actor, dog_id: str) -> Dog:
    """Mark a dog that a clinic added as looked at by a registrar."""
    require_role(by, Role.REGISTRAR)
    with transaction.atomic():
        changed = Dog.objects.filter(public_id=dog_id, is_confirmed=False).update(is_confirmed=True)
        dog = Dog.objects.filter(public_id=dog_id).first()
        if dog is None:
            raise NotFound(_("There is no such dog."))
        if changed:
            append(
                by=by,
                action="dog.confirmed",
                subject=f"dog:{dog.public_id}",
                dog=dog.public_id,
                changes={"is_confirmed": Change(False, True)},
            )
    return dog


def dog_with_chip(text: str, pointer: str) -> str:
    """The public id of the dog with this chip, empty for no text; raises Invalid at the pointer."""
    if not text.strip():
        return ""
    try:
        chip = parse_chip(text).text15
    except ChipProblem as problem:
        raise Invalid.one(pointer, str(problem)) from problem
    dog = dog_by_chip(chip)
    if dog is None:
        raise Invalid.one(pointer, _("No dog has this chip. Check the number."))
    return dog.public_id


def dog_named(text: str, pointer: str) -> str:
    """The public id of the dog with this chip or id, empty for no text; raises Invalid."""
    dog = dog_by_id(text.strip())
    return dog.public_id if dog else dog_with_chip(text, pointer)


def claimed(dog_id: str, version: int) -> Dog:
    """The dog, its version raised by one; raises Conflict when it is not the given one any more."""
    is_claimed = Dog.objects.filter(public_id=dog_id, version=version).update(version=version + 1)
    dog = Dog.objects.select_related("breed", "sire", "dam").filter(public_id=dog_id).first()
    if dog is None:
        heir = dog_by_id(dog_id)
        if heir is None:
            raise NotFound(_("There is no such dog."))
        raise Conflict(
            _("This entry was merged into %(dog)s. Change that dog.") % {"dog": heir.name}
        )
    if not is_claimed:
        raise Conflict(
            _("Somebody changed this dog while you had it open. Look at it again, then change it.")
        )
    return dog


def _save(dog: Dog) -> None:
    try:
        with transaction.atomic():
            dog.save()
    except IntegrityError as error:
        # The chip was free a moment ago; another program took it in between.
        raise Conflict(_("Another dog was registered with this chip just now.")) from error


def _checked(facts: DogFacts, *, dog: Dog | None = None) -> dict[str, Any]:
    """The facts as columns; raises Invalid with every fault."""
    values, problems = plain_values(facts, breed=Breed.objects.filter(slug=facts.breed).first())
    chip = values["chip"]
    if chip is not None and (taken := _why_taken(chip, dog)):
        problems.append(Problem("/chip", taken))
    birth = Birth(values["breed"], facts.born_on)
    if facts.sire and facts.sire == facts.dam:
        problems.append(Problem("/dam", same_parent_twice()))
    parents = {
        "sire": _parent("sire", facts.sire, birth, dog, problems),
        "dam": _parent("dam", facts.dam, birth, dog, problems),
    }
    if dog is not None and birth.breed is not None:
        new = Known(dog.name, birth.breed.pk, facts.sex, facts.born_on, facts.died_on)
        problems += offspring_problems(dog, new)
    if problems:
        raise Invalid(problems)
    return {**values, **parents}


def _why_taken(chip: str, dog: Dog | None) -> str:
    """Why the chip is not free for this dog, or for a new one; empty when it is."""
    other = dog_by_chip(chip)
    if other is None or (other == dog and not chip_is_taken_over(chip)):
        return ""
    if other == dog:
        return _("This chip is on record for this dog already, as a second one.")
    return chip_taken(other.name)


def chip_taken(name: str) -> str:
    """The chip is the named dog's."""
    return _("This chip is registered for %(dog)s. Read the chip again, or use that dog.") % {
        "dog": name
    }


def _parent(
    role: ParentRole, public_id: str, birth: Birth, dog: Dog | None, problems: list[Problem]
) -> Dog | None:
    if not public_id:
        return None
    parent = dog_by_id(public_id)
    if parent is None:
        message = _("There is no dog with this id. Look the dog up by its chip.")
        problems.append(Problem(f"/{role}", message))
        return None
    if not _is_as_before(role, parent, birth, dog):
        why = why_not_parent(Known.of(parent), role, birth)
        if not why and dog is not None and dog.pk in ancestors_of(parent):
            why = descends(parent.name)
        if not why and role == "dam":
            why = why_not_litter(
                parent.name, birth.born_on, litters_of(parent, birth.born_on, besides=dog)
            )
        if why:
            problems.append(Problem(f"/{role}", why))
    return parent


def _is_as_before(role: ParentRole, parent: Dog, birth: Birth, dog: Dog | None) -> bool:
    """Whether a correction leaves this parent and the birth alone: an old fault stops no other
    correction."""
    if dog is None:
        return False
    before = dog.sire_id if role == "sire" else dog.dam_id
    return (before, dog.breed, dog.born_on) == (parent.pk, birth.breed, birth.born_on)


def _plain(value: Any) -> Any:
    if isinstance(value, Breed):
        return value.slug
    if isinstance(value, Dog):
        return value.public_id
    return value
