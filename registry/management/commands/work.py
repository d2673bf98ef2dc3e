"""The background worker: sends mail that waits, signs the log, forgets what has expired.

It only calls the desk. The outbox is the queue: its rows are written in the
same transaction as the change they tell of, and a claim on one lapses, so a
worker that is killed in the middle delays a mail and loses none. Any number of
workers may run.
"""

import logging
import signal
from pathlib import Path
from threading import Event
from time import monotonic
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser
from django.db import OperationalError, connection

from registry.desk.actor import Actor
from registry.desk.cells import slide_windows
from registry.desk.evidence import sweep
from registry.desk.log import HistoryDiffersError, publish_when_due
from registry.desk.mail import deliver_waiting
from registry.desk.replay import forget_old_keys

logger = logging.getLogger(__name__)

_TIDY_EVERY_SECONDS = 6 * 60 * 60


class Command(BaseCommand):
    """Work until told to stop, or once."""

    help = "Send mail that waits, sign the log, forget what has expired and tidy up, until stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        """Say how often, and where to leave a sign of life."""
        parser.add_argument("--every", type=int, default=30, metavar="SECONDS")
        parser.add_argument("--once", action="store_true", help="one round, then end")
        parser.add_argument(
            "--sign-of-life", type=Path, metavar="FILE", help="touched after every round"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Go round and round; SIGTERM and SIGINT end it after the round it is in."""
        stop = Event()
        if not options["once"]:
            for number in (signal.SIGTERM, signal.SIGINT):
                signal.signal(number, lambda *_: stop.set())
        next_tidying = monotonic()
        while not stop.is_set():
            try:
                _deliver()
                _sign()
                if monotonic() >= next_tidying:
                    _tidy()
                    next_tidying = monotonic() + _TIDY_EVERY_SECONDS
            except OperationalError:
                # The database restarts now and then; the next round finds it again.
                logger.exception("this round could not reach the database")
                connection.close()
            else:
                if options["sign_of_life"]:
                    options["sign_of_life"].touch()
            if options["once"]:
                return
            stop.wait(options["every"])


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


def _tidy() -> None:
    """Forget what is past its time, sweep files that nothing names, slide the rolling windows."""
    call_command("clearsessions")
    if forgotten := forget_old_keys():
        logger.info("request keys: %d forgotten", forgotten)
    if swept := sweep(by=Actor.system()):
        logger.info("evidence: %d loose files swept", swept)
    if slid := slide_windows():
        logger.info("distributions: %d windows slid", slid)
