"""A club at work that is killed again and again; then everything it left is looked at.

``main`` runs in a process of its own (COMMAND, ROUNDS, RESULTS, SEED), with the registry's real
settings and a scratch database and folder. It makes a club. Each round it forks a worker that sends
results with evidence files, one after the other, and accepts some of them. Whatever the desk has
answered is written to a list, as a page would have told the clinic. At a random moment the worker
is killed with SIGKILL. At the end it prints, as JSON, what it found. Nothing is judged here: that
is `test_kill`'s work.

A kill ends a process, not the machine: that the bytes also outlive a power cut rests on fsync and
on the database's own settings.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import sys
import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections

from registry.desk import drafts, evidence, submit
from registry.desk.distributions import compare_distributions
from registry.ledger import Actor
from registry.ledger.verify import verify
from registry.models import (
    Certificate,
    CountedValue,
    Dog,
    Draft,
    Evaluation,
    Evidence,
    LedgerEntry,
    OutboxMail,
    State,
)
from tests.factories import Club, accept_by_two, make_body, make_club, make_dog

COMMAND = "import django; django.setup(); from tests.reliability.busy_club import main; main()"
_LONGEST_LIFE_SECONDS = 0.3


@dataclass
class Found:
    """What was seen after the last kill. Every list names offenders and should be empty."""

    kills: int = 0
    acknowledged: int = 0
    acknowledged_files: int = 0
    lost: list[str] = field(default_factory=list)
    lost_files: list[str] = field(default_factory=list)
    lost_decisions: list[str] = field(default_factory=list)
    half_evaluations: list[str] = field(default_factory=list)
    half_files: list[str] = field(default_factory=list)
    half_decisions: list[str] = field(default_factory=list)
    drafts_sent_twice: list[str] = field(default_factory=list)
    entries_without_object: list[str] = field(default_factory=list)
    ledger_is_whole: bool = False
    counts_agree: bool = False
    evaluations: int = 0
    nameless_files: int = 0
    nameless_files_after_sweep: int = 0
    files_swept_wrongly: list[str] = field(default_factory=list)


class Answered:
    """The list of what the desk answered: one line each, written in one piece."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT)

    def add(self, **facts: Any) -> None:
        os.write(self._handle, json.dumps(facts).encode() + b"\n")

    def results(self) -> int:
        """How many results were answered so far."""
        return sum("files" in item for item in self.read())

    def read(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.path.read_text("utf-8").splitlines()]


def work(club: Club, dogs: list[Dog], answered: Answered, chance: random.Random) -> None:
    """Send and accept until killed: half of it as drafts with files, half with loose files."""

    by = club.nurse.actor
    while True:
        body = make_body(chance.choice(dogs), left=f"0.{chance.randint(20, 60)}")
        is_draft = chance.random() < 0.5
        draft = drafts.start_draft(by=by) if is_draft else None
        digests, loose = [], []
        for _ in range(chance.randint(1, 3)):
            picture = b"\xff\xd8\xff\xe0" + chance.randbytes(chance.randint(1, 200_000))
            stored = evidence.attach(
                by=by,
                chunks=(
                    picture[start : start + 65_536] for start in range(0, len(picture), 65_536)
                ),
                name="hips.jpg",
                draft_id=draft.public_id if draft else None,
            )
            digests.append(hashlib.sha256(picture).hexdigest())
            if draft is None:
                loose.append(stored.public_id)
        if draft is None:
            sent = submit.submit(by=by, body={**body, "evidence": loose})
        else:
            drafts.save_draft(by=by, draft_id=draft.public_id, version=1, answers=body)
            sent = drafts.send_draft(by=by, draft_id=draft.public_id)
        answered.add(reference=sent.reference, files=digests)
        if chance.random() < 0.5:
            certificate = accept_by_two(club, sent.public_id)
            answered.add(reference=sent.reference, certificate=certificate.number)


def be_killed(club: Club, dogs: list[Dog], answered: Answered, chance: random.Random) -> None:
    """Fork one worker and kill it at a random moment of its life."""
    seed, life = chance.random(), chance.uniform(0, _LONGEST_LIFE_SECONDS)
    connections.close_all()
    ready, tell = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            connection.ensure_connection()
            os.write(tell, b"!")
            work(club, dogs, answered, random.Random(seed))
        finally:
            os._exit(70)  # A worker never ends by itself: the parent takes this for a failure.
    os.read(ready, 1)
    time.sleep(life)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    os.close(ready)
    os.close(tell)
    if not os.WIFSIGNALED(status):
        raise RuntimeError("a worker failed by itself")


def wait_for_the_server() -> None:
    """PostgreSQL finishes a killed client's statement on its own; look once it has."""
    if connection.vendor != "postgresql":
        return
    for _ in range(200):
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT count(*) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid <> pg_backend_pid()"
                " AND backend_type = 'client backend'"
            )
            if cursor.fetchone() == (0,):
                return
        time.sleep(0.05)
    raise RuntimeError("the server still works for a killed client")


def look(found: Found, answered: list[dict[str, Any]]) -> None:
    """Compare what was answered with what is there, and what is there with itself."""

    sent = {item["reference"]: item["files"] for item in answered if "files" in item}
    accepted = {item["reference"]: item["certificate"] for item in answered if "files" not in item}
    found.acknowledged = len(sent)
    found.acknowledged_files = sum(len(files) for files in sent.values())
    there = {row.reference: row for row in Evaluation.objects.prefetch_related("evidence")}
    found.evaluations = len(there)
    found.lost = sorted(set(sent) - set(there))
    for reference, digests in sent.items():
        if reference in there:
            have = sorted(item.sha256 for item in there[reference].evidence.all())
            found.lost_files += sorted(set(digests) - set(have))
    numbers = dict(Certificate.objects.values_list("evaluation__reference", "number"))
    found.lost_decisions = [key for key, number in accepted.items() if numbers.get(key) != number]
    look_at_evaluations(found, there.values())
    look_at_files(found, Evidence.objects.all())
    found.ledger_is_whole = verify().is_whole
    found.counts_agree = compare_distributions().agrees


def look_at_evaluations(found: Found, evaluations: Iterable[Evaluation]) -> None:
    """Each has both readings, one entry, its files; each decided one all that a decision writes."""

    actions: dict[str, list[str]] = {}
    for action, subject in LedgerEntry.objects.values_list("action", "subject"):
        actions.setdefault(subject, []).append(action)
    named = set()
    for row in evaluations:
        subject = f"evaluation:{row.public_id}"
        named.add(subject)
        own = actions.get(subject, [])
        is_whole = row.readings.count() == 2 and own.count("evaluation.submitted") == 1
        if not is_whole or not row.evidence.all():
            found.half_evaluations.append(row.reference)
        is_accepted = row.state in (State.ACCEPTED, State.REPLACED)
        parts = (
            own.count("evaluation.accepted"),
            int(hasattr(row, "certificate")),
            OutboxMail.objects.filter(evaluation=row, kind="accepted").count(),
            int(CountedValue.objects.filter(evaluation=row).exists()),
        )
        if set(parts) != {int(is_accepted)}:
            found.half_decisions.append(f"{row.reference} {row.state} {parts}")
        if Draft.objects.filter(sent_as=row).count() > 1:
            found.drafts_sent_twice.append(row.reference)
    found.entries_without_object = sorted(
        subject for subject in actions if subject.startswith("evaluation:") and subject not in named
    )


def look_at_files(found: Found, rows: Iterable[Evidence]) -> None:
    """Each row's bytes are there and are those; each row has its entry; then sweep and look."""

    folder = Path(settings.EVIDENCE_ROOT)
    entries = LedgerEntry.objects.filter(action="evidence.attached")
    subjects = list(entries.values_list("subject", flat=True))
    named = set()
    for row in rows:
        path = folder / row.stored_name
        named.add(row.stored_name)
        is_there = path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == row.sha256
        if not is_there or subjects.count(f"evidence:{row.public_id}") != 1:
            found.half_files.append(row.public_id)
    found.nameless_files = len({path.name for path in folder.iterdir()} - named)
    for path in folder.iterdir():
        os.utime(path, (0, 0))
    evidence.sweep(by=Actor.system())
    left = {path.name for path in folder.iterdir() if path.is_file()}
    found.nameless_files_after_sweep = len(left - named)
    found.files_swept_wrongly = sorted(named - left)


def main() -> None:
    """Make the club, kill its workers, look, print."""
    rounds, results, seed = map(int, sys.argv[1:4])
    call_command("migrate", "--no-input", "--verbosity", "0")
    club = make_club()
    dogs = [make_dog(club, sex="FM"[place % 2]) for place in range(12)]
    answered = Answered(Path(settings.VAR_DIR) / "answered.jsonl")
    chance = random.Random(seed)
    found = Found()
    # A busy machine answers less in the same time: go on until the kills had something to hit.
    while found.kills < rounds or answered.results() < results:
        be_killed(club, dogs, answered, chance)
        found.kills += 1
    wait_for_the_server()
    look(found, answered.read())
    sys.stdout.write(json.dumps(found.__dict__))
