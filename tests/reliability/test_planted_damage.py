"""Every planted damage is found, with the entry it begins at and a non-zero exit; a registry that
was left alone raises no alarm.

Ten of each kind run always, a hundred with ``make soak``.
"""

from __future__ import annotations

import random
import re
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from registry.desk import evidence
from registry.desk.log import publish_checkpoint
from registry.ledger import Actor, append, triggers
from registry.ledger.tiles import leaves
from registry.models import LedgerHead
from tests.factories import make_accepted, make_club
from tests.reliability.numbers import Count, times, write_down
from tests.reliability.planted import KINDS
from tests.reliability.record import What

EACH = times(soak=100, short=10)
CLEAN_RUNS = EACH
RESULTS = 20
NAMED = re.compile(r"^entry (\d+) ", re.MULTILINE)

pytestmark = pytest.mark.django_db


@pytest.fixture
def kept(tmp_path: Path) -> list[str]:
    """A club with results and files; and what an officer keeps of its log."""
    club = make_club()
    for number in range(RESULTS):
        file = evidence.attach(
            by=club.nurse.actor, chunks=[f"%PDF-1.7 film {number}".encode()], name="film.pdf"
        )
        make_accepted(club, evidence=[file.public_id], left=f"0.{30 + number}")
    publish_checkpoint()
    for number in range(250):
        append(by=Actor.system(), action="trial.made", subject=f"trial:{number}", reason="so")
    made = publish_checkpoint()
    assert made is not None
    note, hashes = tmp_path / "kept.checkpoint", tmp_path / "kept.leaves"
    note.write_text(made.note, encoding="utf-8")
    lines = [f"{seq} {leaf.hex()}\n" for seq, leaf in enumerate(leaves(0, made.size), 1)]
    hashes.write_text("".join(lines), encoding="utf-8")
    triggers.uninstall(connection)
    return ["--against", str(note), "--leaves", str(hashes)]


def check(kept: list[str]) -> tuple[bool, list[int]]:
    """Whether both commands were content, and the entries they named."""
    out, is_content = StringIO(), True
    for command in (["verify_ledger", *kept], ["verify_records"]):
        try:
            call_command(*command, stdout=out)
        except CommandError:
            is_content = False
    return is_content, [int(seq) for seq in NAMED.findall(out.getvalue())]


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_found_and_pinned(kind: str, kept: list[str]) -> None:
    seed = random.randrange(10**6)
    dice = random.Random(seed)
    last = LedgerHead.objects.get().seq
    assert last > 256, "a full tile of the public tree should be among what is damaged"
    missed, elsewhere = [], []

    for number in range(EACH):
        with transaction.atomic():
            damaged = KINDS[kind](dice, last)
            is_content, named = check(kept)
            transaction.set_rollback(True)
        damaged.undo()
        if is_content:
            missed.append(number)
        elif damaged.seq not in named:
            elsewhere.append((damaged.seq, named[:3]))

    write_down(What.DAMAGES, kind, Count(EACH, len(missed) + len(elsewhere)))
    assert missed == [], f"seed {seed}"
    assert elsewhere == [], f"seed {seed}"


def test_a_registry_left_alone_raises_no_alarm(kept: list[str]) -> None:
    alarms = [number for number in range(CLEAN_RUNS) if not check(kept)[0]]

    write_down(What.CLEAN_RUNS, "", Count(CLEAN_RUNS, len(alarms)))
    assert alarms == []
