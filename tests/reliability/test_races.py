"""Several people press at once: one of them decides, the others learn who it was.

Every race starts at a barrier, each side with a database connection of its own. Most races run on
PostgreSQL, where writers overlap; on SQLite writers queue for the file, so fewer say the same.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from threading import Barrier

import pytest
from django.db import connection, connections

from registry.desk import decide, replay, revoke
from registry.desk.actor import Actor
from registry.desk.distributions import compare_distributions
from registry.desk.dogs import DogFacts, correct_dog
from registry.desk.errors import Conflict, Invalid, Refused
from registry.desk.merge import merge_dogs
from registry.desk.people import close_account, end_membership
from registry.desk.submit import submit
from registry.ledger.verify import verify
from registry.models import (
    Certificate,
    CountedValue,
    Dog,
    Evaluation,
    LedgerEntry,
    Membership,
    OutboxMail,
    Role,
    State,
    User,
)
from tests.factories import (
    Club,
    Person,
    make_accepted,
    make_body,
    make_club,
    make_dog,
    make_person,
    make_submitted,
)
from tests.reliability.numbers import counted, times
from tests.reliability.record import What

pytestmark = pytest.mark.django_db(transaction=True)

Deed = Callable[[], object]
_IS_POSTGRES = connection.vendor == "postgresql"
RACES = times(soak=1_000, short=200) if _IS_POSTGRES else times(soak=100, short=20)
EIGHT_WAY_RACES = times(soak=100, short=20)
DECISIONS = ("accept", "decline", "return")
DECIDED = ("evaluation.accepted", "evaluation.declined", "evaluation.returned")


class Racers:
    """Threads that start together, each with its own connection to the database."""

    def __init__(self, most: int) -> None:
        self._pool = ThreadPoolExecutor(most)

    def run(self, deeds: list[Deed]) -> list[object]:
        """What each deed returned, or the Conflict it met; any other error is the test's."""
        barrier = Barrier(len(deeds), timeout=30)

        def side(deed: Deed) -> object:
            barrier.wait()
            try:
                return deed()
            except Conflict as conflict:
                return conflict

        return list(self._pool.map(side, deeds))

    def close(self, most: int) -> None:
        """Let go of the threads' connections, so that the tables can be emptied."""
        barrier = Barrier(most, timeout=30)

        def leave(_side: int) -> None:
            barrier.wait()
            connections.close_all()

        list(self._pool.map(leave, range(most)))
        self._pool.shutdown()


@pytest.fixture
def racers() -> Iterator[Racers]:
    racers = Racers(8)
    yield racers
    racers.close(8)


@pytest.fixture
def club() -> Club:
    return make_club()


def decision(kind: str, by: Actor, evaluation: Evaluation) -> Deed:
    match kind:
        case "accept":
            return lambda: decide.accept(by=by, evaluation_id=evaluation.public_id, reason="seen")
        case "decline":
            return lambda: decide.decline(
                by=by, evaluation_id=evaluation.public_id, reason="unreadable"
            )
        case _:
            return lambda: decide.return_for_correction(
                by=by, evaluation_id=evaluation.public_id, reason="which side is left?"
            )


def assert_one_won(evaluation: Evaluation, people: list[Person], outcomes: list[object]) -> None:
    """One transition, one entry, at most one certificate, one mail to the clinic; losers told."""
    evaluation.refresh_from_db()
    told = [outcome for outcome in outcomes if isinstance(outcome, Conflict)]
    assert len(told) == len(outcomes) - 1
    (winner,) = (
        person
        for person, outcome in zip(people, outcomes, strict=True)
        if not isinstance(outcome, Conflict)
    )
    assert evaluation.decided_by_id == winner.user.pk
    for conflict in told:
        assert conflict.who == str(winner.user)
        assert conflict.who in str(conflict)
        assert conflict.state == evaluation.state
        assert conflict.at == evaluation.decided_at
    subject = f"evaluation:{evaluation.public_id}"
    (entry,) = LedgerEntry.objects.filter(subject=subject, action__in=DECIDED)
    assert entry.action == f"evaluation.{evaluation.state}"
    assert entry.actor == winner.user.subject_id
    accepted = int(evaluation.state == State.ACCEPTED)
    assert Certificate.objects.filter(evaluation=evaluation).count() == accepted
    to_clinic = OutboxMail.objects.filter(evaluation=evaluation, kind=evaluation.state)
    assert to_clinic.count() == 1


def assert_all_is_whole() -> None:
    assert compare_distributions().agrees
    assert verify().is_whole


def race(club: Club, racers: Racers, kinds: tuple[str, ...], people: list[Person]) -> None:
    evaluation = make_submitted(club)
    deeds = [
        decision(kind, person.actor, evaluation) for kind, person in zip(kinds, people, strict=True)
    ]
    assert_one_won(evaluation, people, racers.run(deeds))


def test_of_two_who_decide_at_once_exactly_one_wins_each_time(club: Club, racers: Racers) -> None:
    people = [club.registrar, club.second_registrar]
    pairs = itertools.cycle(itertools.product(DECISIONS, repeat=2))

    with counted(What.RACES_OF_TWO) as so_far:
        for kinds in itertools.islice(pairs, RACES):
            race(club, racers, kinds, people)
            so_far.done += 1

    assert_all_is_whole()


@pytest.mark.requires_postgres
def test_of_eight_at_once_exactly_one_wins(club: Club, racers: Racers) -> None:
    people = [make_person(Role.REGISTRAR, by=club.secretary.actor) for _ in range(8)]
    kinds = tuple(itertools.islice(itertools.cycle(DECISIONS), 8))

    with counted(What.RACES_OF_EIGHT) as so_far:
        for _ in range(EIGHT_WAY_RACES):
            race(club, racers, kinds, people)
            so_far.done += 1

    assert_all_is_whole()


def test_two_results_of_one_dog_accepted_at_once_leave_one_counting(
    club: Club, racers: Racers
) -> None:
    for _ in range(10):
        dog = make_dog(club)
        older = make_submitted(club, dog, left="0.40", right="0.40", examined_on="2025-05-05")
        newer = make_submitted(club, dog, left="0.30", right="0.30", examined_on="2026-05-05")

        outcomes = racers.run(
            [
                decision("accept", club.registrar.actor, older),
                decision("accept", club.second_registrar.actor, newer),
            ]
        )

        assert all(isinstance(outcome, Certificate) for outcome in outcomes)
        (counting,) = CountedValue.objects.filter(dog=dog, counted_until__isnull=True)
        assert (counting.evaluation_id, counting.step) == (newer.pk, 30)
        older.refresh_from_db()
        assert older.state == State.REPLACED
    assert_all_is_whole()


def test_a_revocation_and_a_newer_acceptance_of_one_dog_both_go_through(
    club: Club, racers: Racers
) -> None:
    for _ in range(10):
        dog = make_dog(club)
        older = wished(club, make_accepted(club, dog, examined_on="2025-05-05").evaluation)
        newer = make_submitted(club, dog, left="0.30", right="0.30", examined_on="2026-05-05")

        outcomes = racers.run([revocation(club, older), accepted_by_second(club, newer)])

        assert not [outcome for outcome in outcomes if isinstance(outcome, Conflict)]
        older.refresh_from_db()
        assert older.state == State.REVOKED
        (counting,) = CountedValue.objects.filter(dog=dog, counted_until__isnull=True)
        assert counting.evaluation_id == newer.pk
    assert_all_is_whole()


def revocation(club: Club, evaluation: Evaluation) -> Deed:
    """What the second registrar does, once the first has wished it."""
    return lambda: revoke.revoke(
        by=club.registrar.actor, evaluation_id=evaluation.public_id, reason="films of another dog"
    )


def wished(club: Club, evaluation: Evaluation) -> Evaluation:
    """The evaluation, whose revocation the second registrar has wished."""
    revoke.revoke(
        by=club.second_registrar.actor,
        evaluation_id=evaluation.public_id,
        reason="films of another dog",
    )
    return evaluation


def accepted_by_second(club: Club, evaluation: Evaluation) -> Deed:
    return decision("accept", club.second_registrar.actor, evaluation)


def test_a_double_revocation_happens_once(club: Club, racers: Racers) -> None:
    evaluation = wished(club, make_accepted(club).evaluation)

    outcomes = racers.run([revocation(club, evaluation)] * 2)

    assert sum(isinstance(outcome, Conflict) for outcome in outcomes) == 1
    assert LedgerEntry.objects.filter(action="evaluation.revoked").count() == 1
    assert OutboxMail.objects.filter(kind="revoked").count() == 1
    assert_all_is_whole()


def test_two_secretaries_who_end_each_other_leave_one(club: Club, racers: Racers) -> None:
    other = make_person(Role.SECRETARY, by=club.secretary.actor)

    def ended(by: Person, whose: Person) -> Deed:
        def deed() -> object:
            try:
                return end_membership(by=by.actor, membership_id=whose.membership.pk)
            except Refused as refused:
                return refused

        return deed

    outcomes = racers.run([ended(club.secretary, other), ended(other, club.secretary)])

    assert sum(isinstance(outcome, Refused) for outcome in outcomes) == 1
    assert Membership.objects.filter(role=Role.SECRETARY, ended_at__isnull=True).count() == 1


def test_two_secretaries_who_close_each_other_leave_one(club: Club, racers: Racers) -> None:
    other = make_person(Role.SECRETARY, by=club.secretary.actor)

    def closed(by: Person, whose: Person) -> Deed:
        def deed() -> object:
            try:
                return close_account(by=by.actor, user_id=whose.user.pk)
            except Refused as refused:
                return refused

        return deed

    outcomes = racers.run([closed(club.secretary, other), closed(other, club.secretary)])

    assert sum(isinstance(outcome, Refused) for outcome in outcomes) == 1
    assert (
        User.objects.filter(pk__in=(club.secretary.user.pk, other.user.pk), is_active=True).count()
        == 1
    )
    assert Membership.objects.filter(role=Role.SECRETARY, ended_at__isnull=True).count() == 1


def test_eight_requests_with_one_key_are_one_deed(club: Club, racers: Racers) -> None:
    for number in range(5):
        dog = make_dog(club)

        outcomes = racers.run([keyed(club, dog, f"key-{number}")] * 8)

        answers = [outcome for outcome in outcomes if isinstance(outcome, replay.Answer)]
        assert len(answers) == 8
        assert sum(not answer.is_replay for answer in answers) == 1
        assert len({answer.body["reference"] for answer in answers}) == 1
        assert Evaluation.objects.filter(dog=dog).count() == 1
        assert LedgerEntry.objects.filter(dog=dog.public_id).count() == 2  # registered, submitted
    assert_all_is_whole()


def keyed(club: Club, dog: Dog, key: str) -> Deed:
    def deed() -> replay.Answer:
        evaluation = submit(by=club.nurse.actor, body=make_body(dog))
        return replay.Answer(201, {"reference": evaluation.reference})

    return lambda: replay.once(
        scope="token:trial", key=key, route="POST evaluations", body_hash="a" * 64, deed=deed
    )


def parent_of(by: Actor, child: Dog, dam: Dog) -> Deed:
    """Make the one the other's dam, as a registrar's page would; a refusal is what it returns."""
    facts = DogFacts(
        breed=child.breed.slug,
        name=child.name,
        sex=child.sex,
        # Moved far enough, so that age alone would let it pass.
        born_on=dam.born_on + timedelta(days=400),
        chip=child.chip or "",
        dam=dam.public_id,
    )

    def deed() -> object:
        try:
            return correct_dog(
                by=by, dog_id=child.public_id, version=child.version, facts=facts, reason="papers"
            )
        except Invalid as error:
            return error

    return deed


def test_two_registrars_who_make_each_others_dog_a_parent_make_no_loop(
    racers: Racers, club: Club
) -> None:
    for _ in range(20 if connection.vendor == "postgresql" else 5):
        one, two = make_dog(club), make_dog(club)

        outcomes = racers.run(
            [
                parent_of(club.registrar.actor, one, two),
                parent_of(club.second_registrar.actor, two, one),
            ]
        )

        assert sum(isinstance(each, Invalid) for each in outcomes) == 1
        dams = Dog.objects.filter(pk__in=(one.pk, two.pk), dam__isnull=False)
        assert dams.count() == 1


@pytest.mark.requires_postgres
def test_a_result_sent_or_approved_during_a_merge_is_the_kept_dogs(
    racers: Racers, club: Club
) -> None:
    for _ in range(20):
        keep, drop = make_dog(club), make_dog(club, chip="")
        waiting = make_submitted(club, drop)

        outcomes = racers.run(
            [
                partial(
                    merge_dogs,
                    by=club.second_registrar.actor,
                    keep=keep.public_id,
                    drop=drop.public_id,
                    versions=None,
                    reason="entered twice",
                ),
                decision("accept", club.registrar.actor, waiting),
                partial(submit, by=club.other_nurse.actor, body=make_body(drop)),
            ]
        )

        assert not [each for each in outcomes if isinstance(each, Exception)]
        assert Evaluation.objects.filter(dog=keep).count() == 2
        assert CountedValue.objects.get(dog=keep, counted_until=None).evaluation == waiting
    assert compare_distributions().agrees
