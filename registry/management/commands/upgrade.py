"""Take the registry to this version of the program: back up, change the tables, verify; or leave
all as it was."""

from __future__ import annotations

from argparse import ArgumentParser
from math import ceil
from pathlib import Path
from time import monotonic
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.template.defaultfilters import filesizeformat

from registry import __version__
from registry.archive.checking import NotForHereError, check, check_rows, opened, schema_of
from registry.archive.containers import DamagedArchiveError
from registry.archive.schema import schema_of_database, todays_schema
from registry.archive.writing import BackupProblemError, Made, canonical_part, content_now
from registry.desk.actor import Actor
from registry.desk.backups import make_backup
from registry.desk.errors import Refused
from registry.desk.shipped import renew_words
from registry.desk.upgrade import Plan, check_room, in_one_step, plan_upgrade

# 600,000 rows took 31 seconds of processor time, backup, changes and verifications together; a
# machine that does other things too, or has a slow disk, takes some four times as long.
_ROWS_A_SECOND = 5_000
_BYTES_A_SECOND = 20_000_000

_UP_TO_DATE = "The tables are this version's already: there is nothing to do."


class Command(BaseCommand):
    """Upgrade."""

    help = (
        "After installing a new version: back up, bring the tables to this version, verify. If"
        " anything fails, the registry is left as it was. Killed midway, it can be run again."
    )
    # What a former version's tables lack is what this command brings.
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take --yes, --check and --folder."""
        parser.add_argument("--yes", action="store_true", help="don't ask")
        parser.add_argument("--check", action="store_true", help="only say what would be done")
        parser.add_argument(
            "--folder",
            type=Path,
            metavar="FOLDER",
            help="where the backup goes; without it, SOUNDLINE_BACKUP_FOLDER or SOUNDLINE_VAR",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Say what will be done, ask, and do it."""
        folder: Path = (
            options["folder"] or settings.BACKUP_FOLDER or Path(settings.VAR_DIR) / "backups"
        )
        began = monotonic()
        try:
            plan = plan_upgrade()
            if plan.schema is None or not plan.waiting:
                self._make_tables(plan, only_say=options["check"])
                return
            check_room(plan, folder)
            self._tell(plan, folder)
            if options["check"] or not (options["yes"] or self._is_agreed()):
                self.stdout.write("Nothing was done.")
                return
            made = self._back_up(folder)
        except (Refused, BackupProblemError, DamagedArchiveError, NotForHereError) as problem:
            raise CommandError(f"{problem} Nothing was changed.") from problem
        self._change(made)
        self.stdout.write(
            f"Done in {monotonic() - began:.0f} seconds: the tables are this version's and agree"
            " with the audit trail. Start the site and the worker."
        )

    def _make_tables(self, plan: Plan, *, only_say: bool) -> None:
        """Make the tables of a new database; what every migration run leaves behind is made anew in
        any case."""
        if only_say:
            new = "The database is new: its tables would be made. Nothing was done."
            self.stdout.write(new if plan.schema is None else _UP_TO_DATE)
            return
        with in_one_step():
            call_command("migrate", verbosity=0, skip_checks=True)
            self._renew_words()
        made = "The database was new: its tables are made."
        self.stdout.write(made if plan.schema is None else _UP_TO_DATE)

    def _tell(self, plan: Plan, folder: Path) -> None:
        seconds = plan.rows / _ROWS_A_SECOND + plan.file_bytes / _BYTES_A_SECOND
        before = plan.schema.migrations.get("registry", "nothing") if plan.schema else "nothing"
        self.stdout.write(
            f"This is version {__version__}. The tables are as of {before}; it needs them as of"
            f" {todays_schema().migrations['registry']}. Changes: {', '.join(plan.waiting)}.\n"
            f"1. A backup is made in {folder} and looked through: {plan.rows:,} rows,"
            f" {filesizeformat(plan.file_bytes)} of files.\n"
            "2. The tables are changed, and everything is verified against the audit trail.\n"
            "If anything fails, or the power does, the database takes all of it back by itself, and"
            " you can run this again.\n"
            "Stop the site and the worker first, and start them again afterwards. It takes up to"
            f" about {max(1, ceil(seconds / 60))} min."
        )

    def _is_agreed(self) -> bool:
        try:
            return input("Go on? [y/N] ").strip().lower() in {"y", "yes"}
        except EOFError:
            self.stdout.write("Nobody answers; add --yes.")
            return False

    def _back_up(self, folder: Path) -> Made:
        """Make the backup and read it again; what cannot be put back is no way to return."""
        made = make_backup(folder)
        source = opened(made.path)
        manifest = check(source)
        check_rows(source, manifest, schema_of(manifest))
        self.stdout.write(f"The backup is made and whole: {made.path}")
        return made

    def _change(self, made: Made) -> None:
        try:
            with in_one_step():
                call_command("migrate", verbosity=0, skip_checks=True)
                self._renew_words()
                self.stdout.write("The tables are changed; now they are verified.")
                call_command("verify_ledger", verbosity=0, stdout=self.stdout)
                # No change of tables touches a file, and there may be many gigabytes of them.
                call_command("verify_records", without_files=True, verbosity=0, stdout=self.stdout)
        except (Exception, KeyboardInterrupt) as error:
            why = str(error) or type(error).__name__
            raise CommandError(f"The upgrade failed: {why}\n{self._as_before(made)}") from error

    def _renew_words(self) -> None:
        """Give shipped traits this version's words, and say which were changed."""
        for trait in renew_words(by=Actor.system()):
            self.stdout.write(
                f"The trait {trait.slug} has this version's words now ({trait.name}); the audit"
                " trail has the former ones."
            )

    def _as_before(self, made: Made) -> str:
        """Look whether the database has taken everything back, and say so."""
        then = made.manifest
        if schema_of_database().migrations == then.facts["migrations"]:
            if content_now() == canonical_part(then):
                return (
                    "Everything was taken back: the registry is as it was, equal to the backup"
                    f" ({made.path}). Start the former version again, or mend the cause and run"
                    " this again."
                )
            return (
                "Everything was taken back. The registry is not equal to the backup any more:"
                " somebody has worked meanwhile, and nothing of that is lost. Stop the site before"
                " you run this again."
            )
        return (
            "The tables are not what they were. Don't use this database: put the backup back into a"
            f" new one with manage.py restore {made.path}"
        )
