"""The background worker: sends mail, signs and verifies the log, does tasks, forgets what has
expired.

It only calls the desk. The outbox is the queue: its rows are written in the
same transaction as the change they tell of, and a claim on one lapses, so a
worker that is killed in the middle delays a mail and loses none. Breeding runs
are tasks: their rows are written with the asking, and their leases lapse too.
Any number of workers may run.
"""

import logging
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Thread
from time import monotonic
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser
from django.db import OperationalError, connection

from registry.desk import upkeep
from registry.desk.actor import Actor
from registry.desk.alarms import warn_secretaries
from registry.desk.backups import back_up_when_due
from registry.desk.breeding import catch_up, recover_lost_runs
from registry.desk.cells import slide_windows
from registry.desk.evidence import sweep
from registry.desk.log import HistoryDiffersError, publish_when_due
from registry.desk.mail import deliver_waiting
from registry.desk.public_states import settle_when_due
from registry.desk.replay import forget_old_keys
from registry.desk.sign_in import forget_ended_sessions
from registry.desk.tasks import do_waiting_tasks, forget_old_tasks
from registry.desk.verification import verify_when_due
from registry.doctor.backups import backup_troubles
from registry.doctor.examination import examine_slowly, needing
from registry.doctor.findings import Level

logger = logging.getLogger(__name__)

_TIDY_EVERY_SECONDS = 6 * 60 * 60
_ALIVE_EVERY_SECONDS = 30
_LONGEST_TASK_SECONDS = 30 * 60


class Command(BaseCommand):
    """Work until told to stop, or once."""

    help = "Send mail, sign the log, do what waits in the background, and tidy up, until stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        """Say how often, and where to leave a sign of life."""
        parser.add_argument("--every", type=int, default=30, metavar="SECONDS")
        parser.add_argument("--once", action="store_true", help="one round, then end")
        parser.add_argument(
            "--sign-of-life", type=Path, metavar="FILE", help="touched after every round"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Go round and round; SIGTERM and SIGINT end it after what it is at."""
        stop = Event()
        if not options["once"]:
            for number in (signal.SIGTERM, signal.SIGINT):
                signal.signal(number, lambda *_: stop.set())
        tidying = _Every(_TIDY_EVERY_SECONDS)
        catching_up = _Every(60 * settings.BREEDING_EVERY_MINUTES)
        while not stop.is_set():
            try:
                _guarded(_deliver, _sign)
                if catching_up.is_due():
                    _guarded(_catch_up)
                with _alive_meanwhile(options["sign_of_life"]):
                    _guarded(lambda: _do_tasks(stop), _back_up, _verify)
                _guarded(_warn)
                if tidying.is_due():
                    _guarded(*_TIDYING)
            except OperationalError:
                # The database restarts now and then; the next round finds it again.
                logger.exception("this round could not reach the database")
                connection.close()
            else:
                # The site and the doctor read it there; a supervisor looks at the file.
                upkeep.remember(name=upkeep.WORKER, ok=True)
                if options["sign_of_life"]:
                    options["sign_of_life"].touch()
            if options["once"]:
                return
            stop.wait(options["every"])


def _guarded(*chores: Callable[[], None]) -> None:
    """Do one chore after the other: what goes wrong with one keeps no other from being done. That
    the database is away is for the whole round, and goes on up."""
    for chore in chores:
        try:
            chore()
        except OperationalError:
            raise
        except Exception:
            logger.exception("a chore of this round failed: %s", chore.__name__)


class _Every:
    """Due at first, and again so many seconds after each time it was."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._next = monotonic()

    def is_due(self) -> bool:
        """Whether it is time; if so, the next time is set."""
        if monotonic() < self._next:
            return False
        self._next = monotonic() + self._seconds
        return True


@contextmanager
def _alive_meanwhile(sign: Path | None) -> Iterator[None]:
    """Leave the sign of life while tasks are done: a large breed's run outlasts many rounds.

    Not for ever, so that a task that hangs is seen.
    """
    if sign is None:
        yield
        return
    done = Event()

    def touch() -> None:
        for _ in range(int(_LONGEST_TASK_SECONDS / _ALIVE_EVERY_SECONDS)):
            if done.wait(_ALIVE_EVERY_SECONDS):
                return
            sign.touch()

    thread = Thread(target=touch, daemon=True)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()


def _catch_up() -> None:
    """Ask for breeding runs of the breeds that have changed since their last one."""
    for run in catch_up(by=Actor.system()):
        logger.info("breeding: run %d of %s asked for", run.number, run.breed.slug)


def _do_tasks(stop: Event) -> None:
    """Queue lost breeding runs again, then do every task that waits."""
    for run in recover_lost_runs():
        logger.warning(
            "breeding: run %d of %s was lost and begins anew", run.number, run.breed.slug
        )
    if done := do_waiting_tasks(is_stopped=stop.is_set):
        logger.info("background tasks: %d done", done)


def _back_up() -> None:
    """Make the day's backup and the week's trial when they are due."""
    if (made := back_up_when_due()) is not None:
        logger.info("backup: %s made", made.name)


def _verify() -> None:
    """Verify the ledger and the records when the day's turn has come."""
    for name, found in verify_when_due().items():
        logger.info("%s: done, damages found: %d", name, found)


def _warn() -> None:
    """Tell the secretaries when the registry could not be put back, or soon will not be."""
    if mails := warn_secretaries(backup_troubles()):
        logger.warning("backup: %d secretaries were told that something is wrong", mails)


def _deliver() -> None:
    """Send what waits, and say so when there was something."""
    sent, waiting = deliver_waiting()
    if sent or waiting:
        logger.info("mail: %d sent, %d still waiting", sent, waiting)


def _sign() -> None:
    """Publish the log's checkpoint when one is due. A history that differs is for people to look
    at; the mail of the others must not wait for them."""
    try:
        made = publish_when_due()
    except HistoryDiffersError:
        logger.exception("the log was not signed; run manage.py verify_ledger")
        return
    if made is not None:
        logger.info("log: checkpoint of %d entries signed", made.size)


def _end_sessions() -> None:
    """Forget sessions that have ended, with their addresses."""
    call_command("clearsessions")
    if ended := forget_ended_sessions():
        logger.info("tidy: %d ended sessions forgotten, with their addresses", ended)


def _forget() -> None:
    """Forget request keys and background tasks that are past their time."""
    if forgotten := forget_old_keys():
        logger.info("request keys: %d forgotten", forgotten)
    if forgotten := forget_old_tasks():
        logger.info("background tasks: %d forgotten", forgotten)


def _sweep() -> None:
    """Sweep files that nothing names."""
    if swept := sweep(by=Actor.system()):
        logger.info("evidence: %d loose files swept", swept)


def _examine() -> None:
    """Make the doctor's slow checks for the pages."""
    if ill := needing(examine_slowly(), Level.HAND):
        logger.warning("doctor: needs a hand: %s", ", ".join(each.check for each in ill))


def _slide() -> None:
    """Slide the rolling windows."""
    if slid := slide_windows():
        logger.info("distributions: %d windows slid", slid)


def _settle() -> None:
    """Bring the public states into the month."""
    if settled := settle_when_due():
        logger.info("distributions: %d public states brought into the month", settled)


_TIDYING = (_end_sessions, _forget, _sweep, _examine, _slide, _settle)
