"""Register a dog, put its facts right, confirm one that a clinic added.

A clinic may add the dog in front of it when the register does not know it; a registrar confirms it
later.
Correcting breed or sex moves the dog's counted values, in the same transaction.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from registry.desk.actor import Actor, require_role
from registry.desk.counting import CountedDog, recount
from registry.desk.errors import Conflict, Invalid, NotFound, Problem
from registry.desk.naming import index_name, search_name
from registry.ledger import Change, append
from registry.models import Breed, Dog, Role, Sex
from registry.science.microchip import ChipProblem, parse_chip

# A bitch can have a litter before her first birthday, but a parent as young as this is a slip.
_YOUNGEST_PARENT_DAYS = 150


@dataclass(frozen=True, slots=True)
class DogFacts:
    """What is said of a dog; parents by public id. The chip may be given as a scanner or person
    types it."""

    breed: str
    name: str
    sex: str
    born_on: date
    call_name: str = ""
    colour: str = ""
    chip: str = ""
    studbook_number: str = ""
    sire: str = ""
    dam: str = ""
    died_on: date | None = None


def register_dog(*, by: Actor, facts: DogFacts) -> Dog:
    """Add a dog. Raises Invalid for facts that cannot be, Conflict when the chip is another
    dog's."""
    require_role(by, Role.CLINIC, Role.REGISTRAR, Role.SECRETARY)
    with transaction.atomic():
        values = _checked(facts)
        dog = Dog(**values, is_confirmed=by.role != Role.CLINIC)
        dog.search_name = search_name(dog.name, dog.call_name)
        _save(dog)
        index_name(dog.pk, dog.search_name)
        append(
            by=by,
            action="dog.registered",
            subject=f"dog:{dog.public_id}",
            dog=dog.public_id,
            changes={name: Change(None, _plain(value)) for name, value in values.items() if value},
        )
    return dog


def correct_dog(*, by: Actor, dog_id: str, version: int, facts: DogFacts, reason: str) -> Dog:
    """Put a dog's facts right. ``version`` is the one the registrar saw; a newer one is a
    Conflict."""
    require_role(by, Role.REGISTRAR, Role.SECRETARY)
    if not reason.strip():
        raise Invalid.one("/reason", _("Say why the facts are changed."))
    with transaction.atomic():
        dog = _claimed(dog_id, version)
        values = _checked(facts, dog=dog)
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
            recount(dog=CountedDog.of(dog), at=timezone.now())
        append(
            by=by,
            action="dog.corrected",
            subject=f"dog:{dog.public_id}",
            dog=dog.public_id,
            changes=changes,
            reason=reason.strip(),
        )
    return dog


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
    public_id = Dog.objects.filter(chip=chip).values_list("public_id", flat=True).first()
    if public_id is None:
        raise Invalid.one(pointer, _("No dog has this chip. Check the number."))
    return public_id


def _claimed(dog_id: str, version: int) -> Dog:
    claimed = Dog.objects.filter(public_id=dog_id, version=version).update(version=version + 1)
    dog = Dog.objects.select_related("breed", "sire", "dam").filter(public_id=dog_id).first()
    if dog is None:
        raise NotFound(_("There is no such dog."))
    if not claimed:
        raise Conflict(
            _("Somebody changed this dog while you had it open. Look at it again, then change it.")
        )
    return dog


def _save(dog: Dog) -> None:
    try:
        with transaction.atomic():
            dog.save()
    except IntegrityError as error:
        # The chip was free a moment ago; another writer took it in between.
        raise Conflict(_("Another dog was registered with this chip just now.")) from error


def _checked(facts: DogFacts, *, dog: Dog | None = None) -> dict[str, Any]:
    problems: list[Problem] = []
    name = " ".join(facts.name.split())
    if not name:
        problems.append(Problem("/name", _("Enter the dog's registered name.")))
    for pointer, text, most in (
        ("/name", name, 120),
        ("/call_name", facts.call_name, 40),
        ("/colour", facts.colour, 60),
        ("/studbook_number", facts.studbook_number, 40),
    ):
        if len(text.strip()) > most:
            problems.append(
                Problem(pointer, _("Shorten this to %(most)d characters.") % {"most": most})
            )
        if "\x00" in text:
            problems.append(Problem(pointer, _("Take out the characters that cannot be printed.")))
    breed = Breed.objects.filter(slug=facts.breed).first()
    if breed is None:
        problems.append(Problem("/breed", _("Choose a breed of this register.")))
    if facts.sex not in Sex.values:
        problems.append(Problem("/sex", _("Choose female (F) or male (M).")))
    today = timezone.localdate()
    if not date(1980, 1, 1) <= facts.born_on <= today:
        problems.append(Problem("/born_on", _("Enter a birth date from 1980 to today.")))
    if facts.died_on and not facts.born_on <= facts.died_on <= today:
        problems.append(Problem("/died_on", _("A dog dies after it is born and not after today.")))
    chip = _chip(facts.chip, dog, problems)
    parents = {
        "sire": _parent("sire", facts.sire, Sex.MALE, facts.born_on, dog, problems),
        "dam": _parent("dam", facts.dam, Sex.FEMALE, facts.born_on, dog, problems),
    }
    if problems:
        raise Invalid(problems)
    return {
        "breed": breed,
        "name": name,
        "call_name": " ".join(facts.call_name.split()),
        "sex": facts.sex,
        "born_on": facts.born_on,
        "died_on": facts.died_on,
        "colour": " ".join(facts.colour.split()),
        "chip": chip,
        "studbook_number": " ".join(facts.studbook_number.split()),
        **parents,
    }


def _chip(text: str, dog: Dog | None, problems: list[Problem]) -> str | None:
    if not text.strip():
        return None
    try:
        chip = parse_chip(text).text15
    except ChipProblem as problem:
        problems.append(Problem("/chip", str(problem)))
        return None
    other = Dog.objects.filter(chip=chip).first()
    if other is not None and other != dog:
        problems.append(
            Problem(
                "/chip",
                _("This chip is registered for %(dog)s. Read the chip again, or use that dog.")
                % {"dog": other.name},
            )
        )
    return chip


def _parent(
    field: str, public_id: str, sex: Sex, born_on: date, dog: Dog | None, problems: list[Problem]
) -> Dog | None:
    if not public_id:
        return None
    parent = Dog.objects.filter(public_id=public_id).first()
    if parent is None:
        problems.append(Problem(f"/{field}", _("There is no dog with this id.")))
        return None
    if parent.sex != sex:
        message = _("%(dog)s is not %(sex)s.") % {"dog": parent.name, "sex": sex.label}
        problems.append(Problem(f"/{field}", message))
    elif (born_on - parent.born_on).days < _YOUNGEST_PARENT_DAYS:
        message = _("%(dog)s is too young to be a parent of this dog.") % {"dog": parent.name}
        problems.append(Problem(f"/{field}", message))
    elif dog is not None and dog.pk in _ancestors(parent):
        message = _("%(dog)s descends from this dog, so it cannot be its parent.")
        problems.append(Problem(f"/{field}", message % {"dog": parent.name}))
    return parent


def _ancestors(dog: Dog) -> set[int]:
    """Primary keys of the dog and all its known ancestors, a generation a query."""
    found: set[int] = set()
    generation = {dog.pk}
    while generation:
        found |= generation
        pairs = Dog.objects.filter(pk__in=generation).values_list("sire_id", "dam_id")
        generation = {pk for pair in pairs for pk in pair if pk is not None} - found
    return found


def _plain(value: Any) -> Any:
    if isinstance(value, Breed):
        return value.slug
    if isinstance(value, Dog):
        return value.public_id
    return value


def facts_from(body: Mapping[str, Any]) -> DogFacts:
    """DogFacts from a JSON object; raises Invalid naming the members that cannot be read."""
    problems: list[Problem] = []
    known = set(DogFacts.__slots__)
    problems.extend(
        Problem(f"/{name}", _("There is no such field. Take it out or correct its name."))
        for name in sorted(set(body) - known)
    )
    texts: dict[str, Any] = {}
    for name in known - {"born_on", "died_on"}:
        value = body.get(name)
        if value is None:
            texts[name] = ""
        elif isinstance(value, str):
            texts[name] = value
        else:
            problems.append(Problem(f"/{name}", _("Give this as text.")))
    born_on = _day(body.get("born_on"), "/born_on", problems)
    died_on = _day(body["died_on"], "/died_on", problems) if body.get("died_on") else None
    if problems or born_on is None:
        raise Invalid(problems)
    return DogFacts(born_on=born_on, died_on=died_on, **texts)


def _day(value: Any, pointer: str, problems: list[Problem]) -> date | None:
    try:
        # Python would also take a day of a week, 2026-W40-5, which no form or document offers.
        is_plain = isinstance(value, str) and len(value) == 10 and value[7] == "-"
        return date.fromisoformat(value if is_plain else "")
    except ValueError:
        problems.append(
            Problem(pointer, _("Enter a day as year-month-day, for example 2026-10-02."))
        )
        return None
