"""Put an export's folder back into an empty instance; a zip file of a backup is restored alike."""

from __future__ import annotations

from registry.management.commands import restore


class Command(restore.Command):
    """Import an export."""

    help = (
        "Put the folder of an export back into an empty instance, then verify it. Every byte is"
        " checked before anything is written. Only its rows and its evidence are read: the tables"
        " for people are made from them."
    )
