"""Mail waits in the outbox, goes out once, and never decides anything."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from smtplib import SMTPServerDisconnected

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.db import transaction
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from registry.desk import decide
from registry.desk.mail import deliver_waiting, evaluation_id_of, owner_token, queue
from registry.models import Evaluation, OutboxMail, State
from tests.factories import Club, make_accepted, make_club, make_submitted
from tests.reliability.numbers import counted, times
from tests.reliability.record import What

pytestmark = pytest.mark.django_db

DECISIONS = times(soak=1_000, short=200)


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> dict[str, bool]:
    """A mail server that is away until told that it is up."""
    state = {"is_up": False}
    send = EmailBackend.send_messages

    def send_if_up(self: EmailBackend, messages: list[mail.EmailMessage]) -> int:
        if not state["is_up"]:
            raise SMTPServerDisconnected("the line is dead")
        return send(self, messages)

    monkeypatch.setattr(EmailBackend, "send_messages", send_if_up)
    return state


def to_clinic(evaluation: Evaluation) -> OutboxMail:
    return OutboxMail.objects.get(evaluation=evaluation, to_email=evaluation.clinic.email)


class TestGoingOut:
    def test_it_goes_out_after_the_commit(
        self, club: Club, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
    ) -> None:
        with django_capture_on_commit_callbacks(execute=True):
            make_accepted(club)
            assert mail.outbox == []

        assert sorted(message.to[0] for message in mail.outbox) == sorted(
            [club.clinic.email, "olga@owner.example"]
        )

    def test_a_deed_that_fails_mails_nothing(
        self, club: Club, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
    ) -> None:
        evaluation = make_submitted(club)

        with django_capture_on_commit_callbacks(execute=True), transaction.atomic():
            decide.accept(by=club.registrar.actor, evaluation_id=evaluation.public_id)
            transaction.set_rollback(True)

        assert mail.outbox == []
        assert not OutboxMail.objects.exists()

    def test_it_goes_out_once(self, club: Club) -> None:
        make_accepted(club)

        assert deliver_waiting() == (2, 0)
        assert deliver_waiting() == (0, 0)

        assert len(mail.outbox) == 2

    def test_nobody_without_an_address_is_written_to(self, club: Club) -> None:
        queue(kind="accepted", to_email="", evaluation_pk=make_submitted(club).pk)

        assert not OutboxMail.objects.exists()

    def test_only_known_kinds_are_written(self, club: Club) -> None:
        with pytest.raises(ValueError, match="no mail is called birthday"):
            queue(kind="birthday", to_email="a@b.example", evaluation_pk=make_submitted(club).pk)

    def test_a_reason_reaches_the_clinic_as_it_was_written(self, club: Club) -> None:
        evaluation = make_submitted(club)
        decide.decline(
            by=club.registrar.actor, evaluation_id=evaluation.public_id, reason="<left> & right?"
        )

        deliver_waiting()

        assert "<left> & right?" in mail.outbox[0].body
        assert evaluation.reference in mail.outbox[0].subject


class TestAServerThatIsAway:
    def test_the_decision_stands_and_the_mail_waits(
        self,
        club: Club,
        server: dict[str, bool],
        django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    ) -> None:
        with django_capture_on_commit_callbacks(execute=True):
            evaluation = make_accepted(club).evaluation

        evaluation.refresh_from_db()
        assert evaluation.state == State.ACCEPTED
        waiting = to_clinic(evaluation)
        assert (waiting.sent_at, waiting.claimed_at, waiting.attempts) == (None, None, 1)
        assert waiting.last_error == "the line is dead"
        assert mail.outbox == []

    def test_it_goes_out_once_when_the_server_is_back(
        self, club: Club, server: dict[str, bool]
    ) -> None:
        evaluation = make_accepted(club).evaluation
        assert deliver_waiting() == (0, 2)
        assert deliver_waiting() == (0, 2)

        server["is_up"] = True

        assert deliver_waiting() == (2, 0)
        assert deliver_waiting() == (0, 0)
        assert len(mail.outbox) == 2
        sent = to_clinic(evaluation)
        assert sent.sent_at is not None
        assert (sent.attempts, sent.last_error) == (3, "")

    def test_one_bad_address_does_not_hold_up_the_next(
        self, club: Club, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        make_accepted(club)
        send = EmailBackend.send_messages

        def refuse_owner(self: EmailBackend, messages: list[mail.EmailMessage]) -> int:
            if messages[0].to == ["olga@owner.example"]:
                raise OSError("no such host")
            return send(self, messages)

        monkeypatch.setattr(EmailBackend, "send_messages", refuse_owner)

        assert deliver_waiting() == (1, 1)

    def test_it_is_given_up_after_many_attempts_and_stays_in_sight(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation
        OutboxMail.objects.update(attempts=200)

        assert deliver_waiting() == (0, 2)

        assert to_clinic(evaluation).sent_at is None


class TestManyDecisionsWithoutAServer:
    """The mail server is away for every one of many decisions, of three kinds."""

    def test_all_stand_and_every_mail_goes_out_once_afterwards(
        self,
        club: Club,
        server: dict[str, bool],
        django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    ) -> None:
        made = dict.fromkeys((State.ACCEPTED, State.RETURNED, State.DECLINED), 0)
        with counted(What.UNSENT) as count:
            with django_capture_on_commit_callbacks(execute=True):
                for number in range(DECISIONS):
                    made[_decided(club, make_submitted(club), number)] += 1
                    count.done += 1
            self.hold_that_nothing_was_lost(made)
            server["is_up"] = True
            self.hold_that_each_goes_out_once(DECISIONS + made[State.ACCEPTED])

    def hold_that_nothing_was_lost(self, made: dict[State, int]) -> None:
        for state, number in made.items():
            assert Evaluation.objects.filter(state=state).count() == number
        # Each decision writes to the clinic, and an accepted one to the owner too.
        due = DECISIONS + made[State.ACCEPTED]
        assert OutboxMail.objects.filter(sent_at__isnull=True, attempts=1).count() == due
        assert mail.outbox == []

    def hold_that_each_goes_out_once(self, due: int) -> None:
        for _ in range(due // 500 + 2):
            deliver_waiting()

        assert len(mail.outbox) == due
        assert not OutboxMail.objects.filter(sent_at__isnull=True).exists()
        told = Counter((message.to[0], message.subject, message.body) for message in mail.outbox)
        assert set(told.values()) == {1}


def _decided(club: Club, evaluation: Evaluation, number: int) -> State:
    """Take the next of the three decisions; returns the state it leads to."""
    deed, state = (
        (decide.accept, State.ACCEPTED),
        (decide.return_for_correction, State.RETURNED),
        (decide.decline, State.DECLINED),
    )[number % 3]
    deed(by=club.registrar.actor, evaluation_id=evaluation.public_id, reason="looked at")
    return state


class TestTheClaim:
    def claim(self, minutes_ago: int) -> None:
        at = timezone.now() - timedelta(minutes=minutes_ago)
        OutboxMail.objects.update(claimed_at=at)

    def test_a_mail_that_another_sender_holds_is_left_to_it(self, club: Club) -> None:
        make_accepted(club)
        self.claim(minutes_ago=9)

        assert deliver_waiting() == (0, 2)
        assert mail.outbox == []

    def test_the_claim_of_a_sender_that_was_killed_lapses(self, club: Club) -> None:
        make_accepted(club)
        self.claim(minutes_ago=11)

        assert deliver_waiting() == (2, 0)
        assert len(mail.outbox) == 2


class TestTheOwnersLink:
    def test_the_token_leads_back_to_the_result(self, club: Club) -> None:
        evaluation = make_submitted(club)

        assert evaluation_id_of(owner_token(evaluation)) == evaluation.public_id

    def test_a_changed_token_leads_nowhere(self, club: Club) -> None:
        mine, other = make_submitted(club), make_submitted(club)
        signature = owner_token(mine).partition(":")[2]

        for token in (f"{other.public_id}:{signature}", mine.public_id, "", "a:b:c"):
            assert evaluation_id_of(token) is None

    def test_the_link_is_in_the_mail_and_not_in_the_database(self, club: Club) -> None:
        evaluation = make_accepted(club).evaluation
        token = owner_token(evaluation)

        deliver_waiting()

        (to_owner,) = (m for m in mail.outbox if m.to == ["olga@owner.example"])
        assert token in to_owner.body
        for row in OutboxMail.objects.values():
            assert token not in str(row)
