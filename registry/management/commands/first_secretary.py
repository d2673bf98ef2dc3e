"""``manage.py first_secretary``: open the first account of a real club, and say what comes next.

Asks on a terminal; without one it reads SOUNDLINE_SECRETARY_LOGIN, _NAME, _EMAIL and _PASSWORD (or
_PASSWORD_FILE). Further accounts are opened by the secretary on the site.
"""

from __future__ import annotations

import getpass
import sys
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from registry.desk.actor import Actor
from registry.desk.errors import Invalid, Refused
from registry.desk.people import first_secretary
from registry.desk.shipped import install_traits, offered_scales
from registry.environment import Environment


class Command(BaseCommand):
    """Open the first account."""

    help = "Open the first secretary's account and add the traits that come with the program."
    requires_migrations_checks = True

    def handle(self, *args: Any, **options: Any) -> None:
        """Ask or read, open the account, and tell the next steps."""
        facts = _asked() if sys.stdin.isatty() else _from_environment()
        try:
            with transaction.atomic():
                user = first_secretary(**facts)
                traits = install_traits(by=Actor.system())
        except Invalid as error:
            lines = [f"{problem.pointer[1:]}: {problem.message}" for problem in error.problems]
            raise CommandError("\n".join(lines)) from error
        except Refused as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"{user.full_name} is the secretary; {len(traits)} measured traits were added."
        )
        offered = "; ".join(
            f"{scale.name} ({', '.join(scale.grades)})" for scale in offered_scales()
        )
        self.stdout.write(
            f"Grades are the club's choice, so none is in use yet. On offer: {offered}. The page"
            " Traits puts them into use, or takes grades of your own."
        )
        self.stdout.write(
            "Next steps:\n"
            f"  1. Sign in at {settings.SITE_URL}/sign-in/ as {user.username}.\n"
            "  2. Make a passkey or set up an authenticator app: your room needs one.\n"
            "  3. Add the club's breeds and clinics, and choose its grades on the page Traits.\n"
            "  4. Invite two registrars, a second secretary and each clinic, on the page People."
        )


def _asked() -> dict[str, str]:
    """Ask at the terminal; the password twice, unseen."""
    facts = {
        "login": input("Login: "),
        "full_name": input("Full name: "),
        "email": input("Mail address: "),
        "password": getpass.getpass("Password (15 characters or more): "),
    }
    if getpass.getpass("The password once more: ") != facts["password"]:
        raise CommandError("The two passwords are not the same. Nothing was done; run it again.")
    return facts


def _from_environment() -> dict[str, str]:
    """Read what a script has set; a missing variable is named by the error."""
    env = Environment()
    return {
        "login": env.text("SOUNDLINE_SECRETARY_LOGIN"),
        "full_name": env.text("SOUNDLINE_SECRETARY_NAME"),
        "email": env.text("SOUNDLINE_SECRETARY_EMAIL"),
        "password": env.text("SOUNDLINE_SECRETARY_PASSWORD"),
    }
