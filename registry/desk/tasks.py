"""Do the background tasks that wait, one after another, and forget what is left of old ones.

A task is a row written in the transaction that asks for it; what it does is a desk function's
business, which also makes it safe to be done twice: a worker that is killed leaves its row behind
as running for ever.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import timedelta

from django.utils import timezone
from django.utils.crypto import get_random_string
from django_tasks import DEFAULT_TASK_BACKEND_ALIAS, DEFAULT_TASK_QUEUE_NAME
from django_tasks_db.management.commands.db_worker import Worker
from django_tasks_db.models import DBTaskResult

KEPT_FOR = timedelta(days=14)

# It tells of each round that there was nothing to do.
logging.getLogger("django_tasks_db").setLevel(logging.WARNING)


def do_waiting_tasks(*, is_stopped: Callable[[], bool] = lambda: False) -> int:
    """Do the tasks that wait, until none does or the worker is told to stop; returns how many.

    Any number of workers may: each task is one worker's.
    """
    done = 0
    while not is_stopped() and DBTaskResult.objects.ready().exists():
        Worker(
            queue_names=[DEFAULT_TASK_QUEUE_NAME],
            interval=0,
            batch=True,
            backend_name=DEFAULT_TASK_BACKEND_ALIAS,
            startup_delay=False,
            max_tasks=1,
            worker_id=get_random_string(32),
            excluded_queue_names=[],
        ).run()
        done += 1
    return done


def forget_old_tasks() -> int:
    """Delete what is left of tasks after two weeks, done or lost; returns how many."""
    old = DBTaskResult.objects.filter(started_at__lt=timezone.now() - KEPT_FOR)
    return old.delete()[0]
