"""``manage.py demo``: make the invented club, once, and say who can sign in.

The club itself is ``registry.demo``.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from registry.demo.cases import invent_club
from registry.demo.load import is_there, is_untouched, load
from registry.demo.people import Access, renew_access, unused_codes
from registry.demo.progress import Progress
from registry.demo.sights import breeder_page, chip_to_try, sights
from registry.demo.words import Words, read_words
from registry.desk.actor import Actor
from registry.desk.breeding import catch_up_now
from registry.desk.log import HistoryDiffersError, publish_when_due


class Command(BaseCommand):
    """Fill an empty registry with the invented club, or find it again."""

    help = "Make the invented club for a trial, or say again who can sign in to it."
    requires_migrations_checks = True

    def add_arguments(self, parser: CommandParser) -> None:
        """Size and seed are for those who want another club than everybody else's."""
        parser.add_argument("--dogs", type=int, help="about how many dogs (default 3,000)")
        parser.add_argument("--seed", type=int, help="another number makes another club")
        parser.add_argument(
            "--new-passwords",
            action="store_true",
            help="give everybody a new password, new codes and new tokens",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Make the club, or find it."""
        if settings.IS_PRODUCTION:
            raise CommandError(
                "This makes an invented club for a trial. Run it with SOUNDLINE_MODE=demo, "
                "and never on a real club's database."
            )
        words = read_words(settings.BASE_DIR / "fixtures" / "demo.json")
        file = settings.VAR_DIR / "demo.json"
        access = (
            self._found(words, file, renew=options["new_passwords"])
            if is_there(words)
            else self._made(words, file, options)
        )
        Progress(self.stdout).say("Computing breeding values, where something has changed ...")
        catch_up_now(by=Actor.system())
        self._seal_the_log()
        page = breeder_page()
        if access is not None and access.breeder_page != page:
            access = replace(access, breeder_page=page)
            access.write(file)
        self._tell(access, file)

    def _seal_the_log(self) -> None:
        """No worker runs beside a trial, and a certificate's proof needs a sealed log."""
        try:
            publish_when_due()
        except HistoryDiffersError:
            self.stdout.write("The log does not continue what was sealed: see verify_ledger.")

    def _found(self, words: Words, file: Path, *, renew: bool) -> Access | None:
        if renew:
            access = renew_access(words, settings.SITE_URL)
            access.write(file)
            self.stdout.write("Everybody has a new password; the old ones and the old tokens end.")
            return access
        self.stdout.write("The invented club is here already; its data are kept.")
        if not file.exists():
            return None
        access = Access.read(file)
        if access.url != settings.SITE_URL:
            access = access.at(settings.SITE_URL)
            access.write(file)
        return access

    def _made(self, words: Words, file: Path, options: dict[str, Any]) -> Access:
        if not is_untouched():
            raise CommandError(
                "This database is in use and does not hold the invented club. Nothing was changed. "
                "Choose an empty database for the trial (DATABASE_URL or SOUNDLINE_VAR)."
            )
        begun = settings.VAR_DIR / "demo-begun"
        if begun.exists():
            self.stdout.write(
                "The last run was cut short and nothing of it was kept: starting again."
            )
        # Passwords of an earlier database would be wrong ones.
        file.unlink(missing_ok=True)
        settings.VAR_DIR.mkdir(parents=True, exist_ok=True)
        begun.touch()
        progress = Progress(self.stdout)
        progress.say("Making an invented club. This takes a minute or two.")
        size = options["dogs"] or words.dogs
        seed = words.seed if options["seed"] is None else options["seed"]
        try:
            club = invent_club(words, today=timezone.localdate(), size=size, seed=seed)
            access = load(club, progress)
        except KeyboardInterrupt:
            begun.unlink(missing_ok=True)
            raise CommandError("Stopped. Nothing was kept; run it again to start anew.") from None
        access.write(file)
        begun.unlink(missing_ok=True)
        return access

    def _tell(self, access: Access | None, file: Path) -> None:
        self.stdout.write("")
        if access is None:
            self.stdout.write(
                f"The file with the passwords, {file}, is gone. For new ones, run:\n"
                f"  SOUNDLINE_MODE={settings.MODE} {sys.executable} manage.py demo --new-passwords"
            )
        else:
            self.stdout.write(f"Sign in at {access.url}/sign-in/ as:")
            for user in access.users:
                place = f"  ({user.clinic})" if user.clinic else ""
                self.stdout.write(f"  {user.role:<10} {user.login:<12} {user.password}{place}")
                if user.codes:
                    left = ", ".join(unused_codes(user)) or "none left; run it with --new-passwords"
                    self.stdout.write(f"  {'':<10} then one of these, each works once: {left}")
            self.stdout.write("For programs (Authorization: Bearer …):")
            for token in access.tokens:
                self.stdout.write(f"  {token.clinic or token.role}: {token.token}")
            if chip := chip_to_try():
                self.stdout.write(f"  the chip of a dog without a result, to send one for: {chip}")
            self.stdout.write(f"Scripts read these from {file}.")
        self.stdout.write("Worth a look:")
        for sight in sights():
            self.stdout.write(f"  {settings.SITE_URL}{sight.path}  {sight.why}")
        self.stdout.write("")
