"""What an approval costs against the bare writing of the same rows.

Measured is the desk's whole transaction: claim, permission, checks, counts, certificate, ledger
entry, the rows of both mails, commit. Sending the mails comes after the commit and is left out of
it. The reference writes the same rows into the same tables with finished values, one plain
statement each, on the same connection, in one transaction as durable as the desk's.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any
from unittest.mock import patch

from django.db import connection, transaction
from django.utils import timezone

from registry.desk import decide, mail
from registry.desk.actor import actor_for
from registry.desk.cells import current_month
from registry.models import (
    Certificate,
    CountedValue,
    Evaluation,
    LedgerEntry,
    Membership,
    Role,
    StoredHistogram,
)
from tests.bench.club import LARGEST, breed_named
from tests.bench.rounds import QUICK, Row, in_turns
from tests.factories import Club, Person, make_dog, make_submitted

ROUNDS, TIMES = (2, 3) if QUICK else (9, 40)
_UPDATE_EVALUATION = (
    "UPDATE registry_evaluation SET state = 'accepted', decided_by_id = %s, decided_at = %s,"
    " accepted_at = %s, version = version + 1 WHERE id = %s"
)
_COUNT_VALUE = (
    "INSERT INTO registry_countedvalue (breed_id, trait_id, sex, dog_id, evaluation_id, month,"
    " step, counted_from) VALUES (%s, %s, %s, %s, %s, %s, %s, %s)"
)
_ADD_TO_CELL = (
    "INSERT INTO registry_distributioncell (breed_id, trait_id, sex, month, step, dogs)"
    " VALUES (%s, %s, %s, %s, %s, 1) ON CONFLICT (breed_id, trait_id, sex, month, step)"
    " DO UPDATE SET dogs = registry_distributioncell.dogs + 1"
)
_UPDATE_HISTOGRAM = (
    "UPDATE registry_storedhistogram SET last_month = %s, packed = %s, dogs = dogs + 1,"
    " changed_at = %s WHERE id = %s"
)
_INSERT_CERTIFICATE = (
    "INSERT INTO registry_certificate (number, evaluation_id, issued_at, standing,"
    " status_place) VALUES (%s, %s, %s, %s, %s)"
)
_INSERT_ENTRY = (
    "INSERT INTO registry_ledgerentry"
    " (seq, at, action, subject, dog, actor, body, prev_hash, hash)"
    " VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s)"
)
_UPDATE_HEAD = "UPDATE registry_ledgerhead SET seq = %s, hash = %s WHERE id = 1"
_INSERT_MAIL = (
    "INSERT INTO registry_outboxmail (kind, to_email, evaluation_id, detail, created_at, attempts,"
    " last_error) VALUES (%s, %s, %s, %s, %s, 0, '')"
)


def run() -> list[Row]:
    """Return the row of the approval."""
    club = the_club()
    calls = (ROUNDS + 1) * TIMES
    waiting = _submitted(club, calls)
    bare = _bare_approvals(club, _submitted(club, calls + 1))
    with patch.object(mail, "_send_quietly", lambda _pk: True):
        turns = in_turns(
            lambda: decide.accept(by=club.registrar.actor, evaluation_id=next(waiting).public_id),
            lambda: next(bare),
            rounds=ROUNDS,
            times=TIMES,
        )
    return [
        turns.row(
            what="approval, the whole transaction",
            against="the same ten rows by bare SQL in one durable transaction",
            goal="<= 4",
            n=f"{ROUNDS} rounds of {TIMES}, in a breed of {_tested():,} dogs",
            detail="sending the mails after the commit is not counted",
        )
    ]


def the_club() -> Club:
    """The cast that ``club.fill`` made, with the largest breed."""
    secretary, registrar, second, nurse, other = (
        Person(each.user, each, actor_for(each, via="web"))
        for each in Membership.objects.select_related("user", "clinic").order_by("pk")[:5]
    )
    assert nurse.membership.role == Role.CLINIC
    clinic, other_clinic = nurse.membership.clinic, other.membership.clinic
    assert clinic is not None
    assert other_clinic is not None
    breed = breed_named(LARGEST)
    return Club(secretary, registrar, second, nurse, other, clinic, other_clinic, breed)


def _submitted(club: Club, how_many: int) -> Iterator[Evaluation]:
    return iter([make_submitted(club, make_dog(club)) for _ in range(how_many)])


def _tested() -> int:
    rows = StoredHistogram.objects.filter(breed=breed_named(LARGEST))
    return sum(rows.values_list("dogs", flat=True))


def _bare_approvals(club: Club, waiting: Iterator[Evaluation]) -> Iterator[None]:
    """Each step writes one approval's rows; all values but the keys are those of a real one."""
    with patch.object(mail, "_send_quietly", lambda _pk: True):
        model = decide.accept(by=club.registrar.actor, evaluation_id=next(waiting).public_id)
    assert isinstance(model, Certificate)
    counted = CountedValue.objects.get(evaluation=model.evaluation)
    histogram = StoredHistogram.objects.get(
        breed=counted.breed_id, trait=counted.trait_id, sex=counted.sex
    )
    entry = LedgerEntry.objects.filter(action="evaluation.accepted").latest("seq")
    columns = [entry.action, entry.subject, entry.dog, entry.actor]
    texts = [entry.body, entry.prev_hash, entry.hash]
    standing = json.dumps(model.standing)
    detail = json.dumps({"number": model.number})
    numbers = iter(range(10**9))
    for evaluation in waiting:
        number = f"{next(numbers):010d}"
        now = timezone.now()
        at = connection.ops.adapt_datetimefield_value(now)
        month = connection.ops.adapt_datefield_value(counted.month)
        with transaction.atomic(), connection.cursor() as cursor:
            run = cursor.execute
            run(_UPDATE_EVALUATION, [club.registrar.user.pk, at, at, evaluation.pk])
            key: list[Any] = [counted.breed_id, counted.trait_id, counted.sex]
            run(_COUNT_VALUE, [*key, evaluation.dog_id, evaluation.pk, month, counted.step, at])
            run(_ADD_TO_CELL, [*key, month, counted.step])
            last = connection.ops.adapt_datefield_value(current_month(now))
            run(_UPDATE_HISTOGRAM, [last, bytes(histogram.packed), at, histogram.pk])
            run(_INSERT_CERTIFICATE, [number, evaluation.pk, at, standing, 10**9 + evaluation.pk])
            run("SELECT seq FROM registry_ledgerhead WHERE id = 1")
            seq = cursor.fetchone()[0] + 1
            run(_INSERT_ENTRY, [seq, at, *columns, *texts])
            run(_UPDATE_HEAD, [seq, entry.hash])
            run(_INSERT_MAIL, ["accepted", "vet@clinic.example", evaluation.pk, detail, at])
            run(_INSERT_MAIL, ["owner-result", "olga@owner.example", evaluation.pk, "{}", at])
        yield
