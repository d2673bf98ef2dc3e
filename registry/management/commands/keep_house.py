"""What a scheduler runs every few minutes: send waiting mail, slide windows, sweep loose files, old
keys."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from registry.desk.actor import Actor
from registry.desk.cells import slide_windows
from registry.desk.evidence import sweep
from registry.desk.mail import deliver_waiting
from registry.desk.replay import forget_old_keys


class Command(BaseCommand):
    """The registry's housekeeping; safe to run at any time, also twice at once."""

    help = "Send waiting mail, slide rolling windows, sweep loose files. Run it every five minutes."

    def handle(self, *args: Any, **options: Any) -> None:
        """Do all of it and say what was done."""
        sent, waiting = deliver_waiting()
        slid = slide_windows()
        swept = sweep(by=Actor.system())
        forgotten = forget_old_keys()
        self.stdout.write(
            f"mail sent {sent}, waiting {waiting}; windows slid {slid};"
            f" files swept {swept}; old request keys dropped {forgotten}"
        )
