"""Hold the registry's rows against its ledger: what the ledger says of every evaluation, and what
the database says today. Writes nothing.

The ledger is the witness here: ``verify`` has to find it whole first. What it does not state (the
words of people, the counts) is not compared; for the counts there is ``compare_distributions``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from registry.desk.evidence import stored_path
from registry.desk.submit import described
from registry.ledger.append import plain
from registry.ledger.damage import Damage
from registry.models import Certificate, DogAlias, Evaluation, Evidence, LedgerEntry, State

_CHUNK = 500
# What an evaluation may have any number of: one that no entry names was added.
_OPEN = ("readings.", "conditions.")
_READ_BYTES = 1 << 20
# One turns into the other when a newer result begins or ceases to count, without an entry of its
# own.
_ACCEPTED = frozenset({State.ACCEPTED.value, State.REPLACED.value})


@dataclass(slots=True)
class _Stated:
    """What the ledger says of one evaluation: each field's value and the entry that gave it."""

    fields: dict[str, tuple[Any, int]] = field(default_factory=dict)

    def learn(self, values: dict[str, Any], seq: int) -> None:
        """Take in what an entry says of the fields."""
        self.fields.update({name: (change["to"], seq) for name, change in values.items()})


def check_rows() -> Iterator[Damage]:
    """Every evaluation and certificate against what the ledger states of it; a damage names the
    entry that says otherwise."""
    stated = _stated()
    merged = dict(DogAlias.objects.values_list("public_id", "dog__public_id"))
    known: set[str] = set()
    certificates = {
        certificate.evaluation_id: certificate for certificate in Certificate.objects.all()
    }
    rows = Evaluation.objects.select_related("dog", "owner").prefetch_related("evidence")
    for evaluation in rows.order_by("pk").iterator(chunk_size=_CHUNK):
        known.add(evaluation.public_id)
        said = stated.get(evaluation.public_id)
        if said is None:
            text = f"result {evaluation.reference} is in no entry of the ledger"
            yield Damage(0, "evaluation", "added", text)
            continue
        if "dog" in said.fields:
            dog, seq = said.fields["dog"]
            said.fields["dog"] = (merged.get(dog, dog), seq)
        yield from _check(evaluation, said, certificates.get(evaluation.pk))
    for public_id in sorted(stated.keys() - known):
        seq = min(seq for _value, seq in stated[public_id].fields.values())
        text = f"entry {seq}: the result {public_id} is missing"
        yield Damage(seq, "evaluation", "missing", text)


def check_files() -> Iterator[Damage]:
    """Every stored file against its SHA-256."""
    for evidence in Evidence.objects.order_by("pk").iterator(chunk_size=_CHUNK):
        which = f"file {evidence.public_id} ({evidence.content_type}, {evidence.size} bytes)"
        try:
            found = _sha256(stored_path(evidence))
        except OSError:
            yield Damage(_taken_in(evidence), "file", "missing", f"{which} cannot be read")
            continue
        if found != evidence.sha256:
            yield Damage(_taken_in(evidence), "file", "edited", f"{which} is not what was taken in")


def _taken_in(evidence: Evidence) -> int:
    """The entry that took the file in; 0 when there is none."""
    entries = LedgerEntry.objects.filter(subject=f"evidence:{evidence.public_id}")
    return entries.values_list("seq", flat=True).first() or 0


def _stated() -> dict[str, _Stated]:
    """What all entries together say, by the evaluation's public id."""
    stated: dict[str, _Stated] = {}
    entries = LedgerEntry.objects.filter(subject__startswith="evaluation:").order_by("seq")
    for seq, subject, action, body in entries.values_list(
        "seq", "subject", "action", "body"
    ).iterator(chunk_size=5000):
        public_id = subject.partition(":")[2]
        values = json.loads(body)["values"]
        said = stated.setdefault(public_id, _Stated())
        if action == "evaluation.replaced":
            _learn_of_replacement(stated, said, values, seq)
        else:
            said.learn(values, seq)
    return stated


def _learn_of_replacement(
    stated: dict[str, _Stated], old: _Stated, values: dict[str, Any], seq: int
) -> None:
    """A correction is a new evaluation: all that the old one says, but for what was put right."""
    new = stated.setdefault(values.pop("replaced_by")["to"], _Stated(dict(old.fields)))
    old.learn({"state": values.pop("state")}, seq)
    new.learn({**values, "state": {"to": State.ACCEPTED.value}, "evidence": {"to": []}}, seq)


def _check(
    evaluation: Evaluation, said: _Stated, certificate: Certificate | None
) -> Iterator[Damage]:
    """One evaluation's fields, state, evidence and certificate."""
    found = {name: plain(value) for name, value in described(evaluation).items()}
    found["state"] = evaluation.state
    found["evidence"] = sorted(item.sha256 for item in evaluation.evidence.all())
    found["certificate"] = certificate.number if certificate else None
    found["standing"] = certificate.standing if certificate else None
    open_ended = {name for name in found.keys() | said.fields.keys() if name.startswith(_OPEN)}
    for name in sorted(open_ended | (found.keys() & said.fields.keys())):
        value, seq = said.fields.get(name, (None, 0))
        if found.get(name) == value or (name == "state" and {value, found[name]} <= _ACCEPTED):
            continue
        text = f"result {evaluation.reference}: {name} is not what entry {seq} says"
        yield Damage(seq or _first(said), name, "edited", text)


def _first(said: _Stated) -> int:
    """The entry with which the evaluation begins."""
    return min(seq for _value, seq in said.fields.values())


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while part := file.read(_READ_BYTES):
            digest.update(part)
    return digest.hexdigest()
