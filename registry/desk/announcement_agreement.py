"""Hold the announcements against the ledger: who announced which dog for which day and when, what
was answered, what was withdrawn and why. Writes nothing; the ledger is the witness."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from registry.ledger.append import plain
from registry.ledger.damage import Damage
from registry.models import Announcement, DogAlias, LedgerEntry, LedgerText

_CHUNK = 500
# A row's instant and its entry's are taken one after the other in one transaction.
_ONE_TRANSACTION = timedelta(minutes=1)

Said = dict[str, tuple[Any, int]]
"""What the ledger says of one announcement: each field's value and the entry that gave it."""


def check_announcements() -> Iterator[Damage]:
    """Every announcement against its entries; a damage names the entry that says otherwise."""
    stated, known = _stated(), set[str]()
    merged = dict(DogAlias.objects.values_list("public_id", "dog__public_id"))
    rows = Announcement.objects.select_related("dog", "clinic", "announced_by", "evaluation")
    for row in rows.order_by("pk").iterator(chunk_size=_CHUNK):
        known.add(row.public_id)
        said = stated.get(row.public_id)
        if said is None:
            text = f"announcement {row.reference} is in no entry of the ledger"
            yield Damage(0, "announcement", "added", text)
            continue
        dog, seq = said["dog"]
        said["dog"] = (merged.get(dog, dog), seq)
        yield from _check(row, said)
    for public_id in sorted(stated.keys() - known):
        seq = min(seq for _value, seq in stated[public_id].values())
        text = f"entry {seq}: the announcement {public_id} is missing"
        yield Damage(seq, "announcement", "missing", text)


def _stated() -> dict[str, Said]:
    """What all entries together say, by the announcement's public id."""
    reasons: dict[int, str | None] = {
        seq: None if erased_at else text
        for seq, text, erased_at in LedgerText.objects.filter(
            field="reason", entry__action="announcement.withdrawn"
        ).values_list("entry_id", "text", "erased_at")
    }
    stated: dict[str, Said] = {}
    entries = LedgerEntry.objects.filter(subject__startswith="announcement:").order_by("seq")
    for entry in entries.iterator(chunk_size=5000):
        body = json.loads(entry.body)
        said = stated.setdefault(entry.subject.partition(":")[2], _nothing_yet(entry.seq))
        values = {name: change["to"] for name, change in body["values"].items()}
        values.pop("state", None)
        if entry.action == "announcement.made":
            values |= {"announced_at": entry.at, "announced_by": body["actor"]}
            values |= {"clinic": body["who"]["clinic"], "dog": body["dog"]}
        elif entry.action == "announcement.withdrawn":
            values |= {"withdrawn_at": entry.at, "reason": reasons.get(entry.seq)}
        said.update({name: (value, entry.seq) for name, value in values.items()})
    return stated


def _nothing_yet(seq: int) -> Said:
    """What holds of an announcement of which the ledger says no more than that it was made."""
    return {
        "dog": ("", seq),
        "evaluation": (None, seq),
        "withdrawn_at": (None, seq),
        "reason": ("", seq),
    }


def _check(row: Announcement, said: Said) -> Iterator[Damage]:
    """One announcement's fields."""
    found: dict[str, Any] = {
        "reference": row.reference,
        "dog": row.dog.public_id,
        "clinic": row.clinic.public_id,
        "examined_on": plain(row.examined_on),
        "announced_by": row.announced_by.subject_id,
        "announced_at": row.announced_at,
        "evaluation": row.evaluation.public_id if row.evaluation else None,
        "withdrawn_at": row.withdrawn_at,
        "reason": row.reason,
    }
    for name, (value, seq) in sorted(said.items()):
        is_erased = name == "reason" and value is None
        if not is_erased and not is_same(found.get(name), value):
            text = f"announcement {row.reference}: {name} is not what entry {seq} says"
            yield Damage(seq, name, "edited", text)


def is_same(found: Any, value: Any) -> bool:
    """Whether a row says what an entry says; of two instants, nearly the same one."""
    if isinstance(found, datetime) and isinstance(value, datetime):
        return abs(value - found) <= _ONE_TRANSACTION
    return bool(found == value)
