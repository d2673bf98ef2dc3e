"""Hold the dogs against the ledger: what was said of each at its registration, at every correction
and merge, and what its row says today. Writes nothing; the ledger is the witness.

A certificate tells by these facts which dog it is about, and who its family is follows from them.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from django.db.models import Exists, OuterRef

from registry.ledger.append import plain
from registry.ledger.damage import Damage
from registry.models import Dog, DogAlias, LedgerEntry, Role

_CHUNK = 500
_PARENTS = ("sire", "dam")
_FACTS = (
    "name", "call_name", "sex", "born_on", "died_on", "colour", "chip", "studbook_number",
)  # fmt: skip


@dataclass(slots=True)
class _Said:
    """What the ledger says of one dog: each field's value and the entry that gave it."""

    first: int
    fields: dict[str, tuple[Any, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Merged:
    """Into which dog an entry went, with the chip that it left as a second one, and when."""

    into: str
    chip: str | None
    seq: int


def check_dogs() -> Iterator[Damage]:
    """Every dog and every merged entry against the ledger; a damage names the entry that says
    otherwise."""
    merged = _merged()
    rows = Dog.objects.select_related("breed", "sire", "dam").order_by("pk")
    dogs = rows.iterator(chunk_size=_CHUNK)
    while chunk := list(islice(dogs, _CHUNK)):
        stated = _stated(chunk)
        for dog in chunk:
            said = stated.get(dog.public_id)
            if said is None:
                yield Damage(0, "dog", "added", f"dog {dog.public_id} is in no entry of the ledger")
            else:
                yield from _check(dog, said, merged)
    yield from _missing()
    yield from _check_aliases(merged)


def _stated(dogs: Sequence[Dog]) -> dict[str, _Said]:
    """What all entries together say of these dogs, by public id."""
    stated: dict[str, _Said] = {}
    subjects = [f"dog:{dog.public_id}" for dog in dogs]
    entries = LedgerEntry.objects.filter(subject__in=subjects).order_by("seq")
    for seq, action, body in entries.values_list("seq", "action", "body"):
        read = json.loads(body)
        said = stated.setdefault(read["dog"], _Said(seq))
        if action == "dog.registered":
            said.fields["is_confirmed"] = (read["who"]["role"] != Role.CLINIC, seq)
        elif action == "dog.merged":
            # Confirmed when one of the two was; the other one's entries are not read here.
            said.fields.pop("is_confirmed", None)
        for name, change in read["values"].items():
            said.fields[name] = (change["to"], seq)
    return stated


def _check(dog: Dog, said: _Said, merged: dict[str, _Merged]) -> Iterator[Damage]:
    """One dog's fields."""
    found: dict[str, Any] = {name: plain(getattr(dog, name)) for name in _FACTS}
    found["breed"] = dog.breed.slug
    for role in _PARENTS:
        parent: Dog | None = getattr(dog, role)
        found[role] = parent.public_id if parent else None
        value, seq = said.fields.get(role, (None, 0))
        said.fields[role] = (_heir(value, merged), seq)
    if "is_confirmed" in said.fields:
        found["is_confirmed"] = dog.is_confirmed
    for name in sorted(found):
        value, seq = said.fields.get(name, (None, 0))
        # An entry leaves out what a new dog does not have.
        if (found[name] or None) != (value or None):
            seq = seq or said.first
            text = f"dog {dog.public_id}: {name} is not what entry {seq} says"
            yield Damage(seq, name, "edited", text)


def _missing() -> Iterator[Damage]:
    """Dogs that were registered, and are neither there nor merged into another one."""
    gone = LedgerEntry.objects.filter(
        ~Exists(Dog.objects.filter(public_id=OuterRef("dog"))),
        ~Exists(DogAlias.objects.filter(public_id=OuterRef("dog"))),
        action="dog.registered",
    ).order_by("seq")
    for seq, public_id in gone.values_list("seq", "dog"):
        yield Damage(seq, "dog", "missing", f"entry {seq}: the dog {public_id} is missing")


def _merged() -> dict[str, _Merged]:
    """The entries of dogs that were merged away, by public id."""
    found: dict[str, _Merged] = {}
    entries = LedgerEntry.objects.filter(action="dog.merged").order_by("seq")
    for seq, body in entries.values_list("seq", "body"):
        values = json.loads(body)["values"]
        chip = None if "chip" in values else values["dropped.chip"]["from"]
        into = values["merged_from"]
        found[into["from"]] = _Merged(into["to"], chip, seq)
    return found


def _heir(public_id: str | None, merged: dict[str, _Merged]) -> str | None:
    """The dog that an id leads to today."""
    while public_id in merged:
        public_id = merged[public_id].into
    return public_id


def _check_aliases(merged: dict[str, _Merged]) -> Iterator[Damage]:
    """What the merged entries were known by: nothing more, nothing less, and of which dog."""
    found = {
        alias.public_id: (alias.dog.public_id, alias.chip or None)
        for alias in DogAlias.objects.select_related("dog")
    }
    for public_id in sorted(found.keys() - merged.keys()):
        text = f"the merged entry {public_id} of a dog is in no entry of the ledger"
        yield Damage(0, "merged entry", "added", text)
    for public_id, said in sorted(merged.items(), key=lambda each: each[1].seq):
        if public_id not in found:
            text = f"entry {said.seq}: the merged entry {public_id} of a dog is missing"
            yield Damage(said.seq, "merged entry", "missing", text)
        elif found[public_id] != (_heir(public_id, merged), said.chip or None):
            text = f"the merged entry {public_id} of a dog is not what entry {said.seq} says"
            yield Damage(said.seq, "merged entry", "edited", text)
