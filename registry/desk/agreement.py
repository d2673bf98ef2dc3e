"""Hold the registry's rows against its ledger: what the ledger says of every evaluation, and what
the database says today. Writes nothing.

The ledger is the witness here: ``verify`` has to find it whole first. Words that were erased for a
person are not compared, nor what it does not state; for the counts there is
``compare_distributions``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any

from registry.desk.announcement_agreement import is_same
from registry.desk.evidence import stored_path
from registry.desk.submit import described
from registry.ledger.append import plain
from registry.ledger.damage import Damage
from registry.models import (
    Certificate,
    DogAlias,
    Evaluation,
    Evidence,
    LedgerEntry,
    LedgerText,
    State,
)

_CHUNK = 500
# What an evaluation may have any number of: one that no entry names was added.
_OPEN = ("readings.", "conditions.")
_READ_BYTES = 1 << 20
# One turns into the other when a newer result begins or ceases to count, without an entry of its
# own.
_ACCEPTED = frozenset({State.ACCEPTED.value, State.REPLACED.value})
_SENT = frozenset({"evaluation.submitted", "evaluation.resubmitted"})
_APPROVED = frozenset({"evaluation.accepted", "evaluation.replaced"})
_DECIDED = _APPROVED | {"evaluation.returned", "evaluation.declined", "evaluation.revoked"}
# Whose reason stands with the result: that of a wish for a second look, or of an approval over a
# stop, stands beside the trail alone.
_EXPLAINED = _DECIDED - {"evaluation.accepted"} | {"evaluation.withdrawn"}

Texts = dict[tuple[int, str], str | None]
"""Words beside the trail by entry and field; None where they were erased."""


@dataclass(slots=True)
class _Stated:
    """What the ledger says of one evaluation: each field's value and the entry that gave it.

    ``words`` are the fields whose text stands beside an entry, under its name there. One that
    ``is_corrected`` stays replaced.
    """

    fields: dict[str, tuple[Any, int]] = field(default_factory=dict)
    is_corrected: bool = False
    words: dict[str, tuple[str, int]] = field(default_factory=dict)

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
    rows = Evaluation.objects.select_related(
        "dog", "owner", "clinic", "submitted_by", "decided_by", "corrects"
    ).prefetch_related("evidence", "flags")
    evaluations = rows.order_by("pk").iterator(chunk_size=_CHUNK)
    while chunk := list(islice(evaluations, _CHUNK)):
        known.update(evaluation.public_id for evaluation in chunk)
        texts = _texts_of([stated[each.public_id] for each in chunk if each.public_id in stated])
        for evaluation in chunk:
            said = stated.get(evaluation.public_id)
            if said is None:
                text = f"result {evaluation.reference} is in no entry of the ledger"
                yield Damage(0, "evaluation", "added", text)
                continue
            if "dog" in said.fields:
                dog, seq = said.fields["dog"]
                said.fields["dog"] = (merged.get(dog, dog), seq)
            yield from _check(evaluation, said, certificates.get(evaluation.pk))
            yield from _check_words(evaluation, said, texts)
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
    for seq, subject, action, at, body in entries.values_list(
        "seq", "subject", "action", "at", "body"
    ).iterator(chunk_size=5000):
        public_id, read = subject.partition(":")[2], json.loads(body)
        said, values = stated.setdefault(public_id, _Stated()), read["values"]
        done = _deed(action, read["actor"], read["who"]["clinic"], at)
        if action == "evaluation.replaced":
            new = stated.setdefault(values.pop("replaced_by")["to"], _Stated(dict(said.fields)))
            _learn_of_replacement(new, said, values, done, seq)
            new.words = {**said.words, "reason": ("", seq)}
            new.fields["corrects"] = (public_id, seq)
            _learn_words(new, read["texts"], seq)
        else:
            said.learn({**values, **done}, seq)
            _learn_words(said, read["texts"], seq)
        if action in _EXPLAINED:
            said.words["reason"] = ("reason", seq)
        elif action in _SENT:
            said.words["reason"] = ("", seq)
    return stated


def _deed(action: str, actor: str, clinic: str, at: datetime) -> dict[str, Any]:
    """What an entry says of a result without naming it as a change: who did what, and when."""
    said: dict[str, Any] = {}
    if action in _SENT:
        said = {"submitted_by": actor, "submitted_at": at, "clinic": clinic, "fields_to_fix": []}
    if action == "evaluation.submitted":
        said |= {"decided_by": None, "decided_at": None, "accepted_at": None, "corrects": None}
    if action in _DECIDED:
        said |= {"decided_by": actor, "decided_at": at}
    if action in _APPROVED:
        said |= {"accepted_at": at, "issued_at": at}
    return {name: {"to": value} for name, value in said.items()}


def _learn_words(said: _Stated, texts: dict[str, str], seq: int) -> None:
    if "examiner.to" in texts:
        said.words["examiner"] = ("examiner.to", seq)


def _learn_of_replacement(
    new: _Stated, old: _Stated, values: dict[str, Any], done: dict[str, Any], seq: int
) -> None:
    """A correction is a new evaluation: all that the old one says, but for what was put right."""
    decided = {name: done[name] for name in ("decided_by", "decided_at")}
    old.learn({"state": values.pop("state"), **decided}, seq)
    old.is_corrected = True
    # The checks of the corrected answers are in no entry.
    new.fields.pop("flags", None)
    state = {"to": State.ACCEPTED.value}
    new.learn({**values, **done, "state": state, "evidence": {"to": []}}, seq)


def _check(
    evaluation: Evaluation, said: _Stated, certificate: Certificate | None
) -> Iterator[Damage]:
    """One evaluation's fields, state, evidence and certificate."""
    found = {name: plain(value) for name, value in described(evaluation).items()}
    found["state"] = evaluation.state
    found["evidence"] = sorted(item.sha256 for item in evaluation.evidence.all())
    found["certificate"] = certificate.number if certificate else None
    found["standing"] = certificate.standing if certificate else None
    found["issued_at"] = certificate.issued_at if certificate else None
    found["flags"] = sorted(item.code for item in evaluation.flags.all())
    found |= _people_and_times(evaluation)
    open_ended = {name for name in found.keys() | said.fields.keys() if name.startswith(_OPEN)}
    for name in sorted(open_ended | (found.keys() & said.fields.keys())):
        value, seq = said.fields.get(name, (None, 0))
        if is_same(found.get(name), value) or _is_overtaken(name, found, said):
            continue
        text = f"result {evaluation.reference}: {name} is not what entry {seq} says"
        yield Damage(seq or _first(said), name, "edited", text)


def _people_and_times(evaluation: Evaluation) -> dict[str, Any]:
    decided_by, corrects = evaluation.decided_by, evaluation.corrects
    return {
        "clinic": evaluation.clinic.public_id,
        "submitted_by": evaluation.submitted_by.subject_id,
        "submitted_at": evaluation.submitted_at,
        "decided_by": decided_by.subject_id if decided_by else None,
        "decided_at": evaluation.decided_at,
        "accepted_at": evaluation.accepted_at,
        "fields_to_fix": evaluation.fields_to_fix,
        "corrects": corrects.public_id if corrects else None,
    }


def _is_overtaken(name: str, found: dict[str, Any], said: _Stated) -> bool:
    """Whether the state only follows another result of the dog, that came or went."""
    stated = said.fields.get("state", ("", 0))[0]
    return name == "state" and not said.is_corrected and {stated, found["state"]} <= _ACCEPTED


def _check_words(evaluation: Evaluation, said: _Stated, texts: Texts) -> Iterator[Damage]:
    """The examiner's name and the reason, unless they were erased for a person."""
    for name, (named, seq) in sorted(said.words.items()):
        wanted = texts.get((seq, named), "") if named else ""
        if wanted is not None and getattr(evaluation, name) != wanted:
            text = f"result {evaluation.reference}: {name} is not what stands beside entry {seq}"
            yield Damage(seq, name, "edited", text)


def _texts_of(stated: list[_Stated]) -> Texts:
    """The words beside the entries that these name."""
    entries = {seq for said in stated for named, seq in said.words.values() if named}
    rows = LedgerText.objects.filter(entry__in=entries, field__in=("examiner.to", "reason"))
    return {
        (seq, named): None if erased_at else text
        for seq, named, text, erased_at in rows.values_list(
            "entry_id", "field", "text", "erased_at"
        )
    }


def _first(said: _Stated) -> int:
    """The entry with which the evaluation begins."""
    return min(seq for _value, seq in said.fields.values())


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while part := file.read(_READ_BYTES):
            digest.update(part)
    return digest.hexdigest()
