"""``manage.py let_in LOGIN``: a way back in for somebody whom nobody else can help.

Prints a link to choose a password, for the only secretary who lost theirs or when no mail goes out.
With ``--without-second-step`` passkeys, app and recovery codes of the account end first. Whoever
may run it has the machine and so the registry; it is written into the ledger all the same.
"""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from registry.desk import sign_in
from registry.desk.actor import Actor
from registry.desk.errors import NotFound
from registry.models import User


class Command(BaseCommand):
    """Print a link to choose a password."""

    help = "Print a link with which a person chooses a password; it works once and for two days."
    requires_migrations_checks = True

    def add_arguments(self, parser: CommandParser) -> None:
        """The login, and whether second steps go."""
        parser.add_argument("login")
        parser.add_argument(
            "--without-second-step",
            action="store_true",
            help="remove passkeys, authenticator app and recovery codes of the account",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Find the account, do it, print the link."""
        login = str(options["login"]).strip()
        user = User.objects.filter(username__iexact=login, is_active=True).first()
        if user is None:
            raise CommandError(f"There is no open account with the login {login}.")
        try:
            if options["without_second_step"]:
                sign_in.remove_second_steps(
                    by=Actor.system(), user_id=user.pk, reason="asked for on the machine itself"
                )
                self.stdout.write("Passkeys, app and recovery codes of this account have ended.")
            link = sign_in.link_for(by=Actor.system(), user_id=user.pk)
        except NotFound as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{user.full_name} chooses a password here, within two days:\n  {link}")
