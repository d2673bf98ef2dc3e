"""The settings and what the database is set to, by way of the system checks.

Nothing is judged here: ``registry.checks`` and Django say what is unsafe, and each of their numbers
is put under the name of one of the doctor's checks.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from django.conf import settings
from django.core.checks import ERROR, CheckMessage, Tags, run_checks
from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from registry.doctor.findings import Check, Verdict, advice, hand, well

# Without the shared cache's table the programs' interface fails: that is no mere advice.
_URGENT = frozenset({"soundline.W001"})


@dataclass(frozen=True, slots=True)
class _Subject:
    """One of the doctor's checks: what is looked at, what to say when all is well, and the numbers
    of the system checks under it."""

    name: str
    looked_at: Promise
    is_well: Promise
    ids: tuple[str, ...]
    asks_database: bool = False


_SUBJECTS = (
    _Subject("club-name", _("The club's name"), _("The club has a name."), ("E001",)),
    _Subject(
        "site-address",
        _("The address on certificates"),
        _("It can be printed, and the site answers to it."),
        ("E002", "E003"),
    ),
    _Subject(
        "mode",
        _("Whether a trial stays on this computer"),
        _("The site answers to no name that it should not."),
        ("E004",),
    ),
    _Subject(
        "evidence-folder",
        _("Whether evidence can be written"),
        _("A file was written to its folder and removed again."),
        ("E005",),
    ),
    _Subject(
        "evidence-apart",
        _("Whether evidence is out of the web server's reach"),
        _("It lies apart from what the web server hands out."),
        ("E006",),
    ),
    _Subject(
        "ledger-triggers",
        _("What keeps the ledger from being rewritten"),
        _("The database refuses to change or remove an entry."),
        ("E007",),
        asks_database=True,
    ),
    _Subject(
        "database-version",
        _("Whether the database is new enough"),
        _("It is."),
        ("E008",),
        asks_database=True,
    ),
    _Subject(
        "database-durability",
        _("Whether the database writes to disk before it confirms"),
        _("It does."),
        ("E009", "E010"),
        asks_database=True,
    ),
    _Subject(
        "log-key",
        _("The key that signs the public log"),
        _("It can sign, and the former keys can be read."),
        ("E011",),
    ),
    _Subject(
        "issuer-key",
        _("The key that signs certificates"),
        _("It can sign, and the former keys can be read."),
        ("E012",),
    ),
    _Subject(
        "backup-key",
        _("The key that encrypts backups"),
        _("It is one, or none is set."),
        ("E013",),
    ),
    _Subject(
        "officers",
        _("Who keeps the log's checkpoints"),
        _("Two or more people are named, or this is a trial."),
        ("W002",),
    ),
    _Subject(
        "shared-cache",
        _("The table that all workers share"),
        _("It is there, or none is needed."),
        ("W001",),
        asks_database=True,
    ),
)
_NAMED = frozenset(f"soundline.{number}" for subject in _SUBJECTS for number in subject.ids)


def configured_checks() -> tuple[Check, ...]:
    """The checks of this module; those of the settings share one run, and so do the database's."""
    of_settings, of_database = cache(_of_settings), cache(_of_database)

    def check(subject: _Subject) -> Check:
        found = of_database if subject.asks_database else of_settings
        wanted = {f"soundline.{number}" for number in subject.ids}

        def look() -> Verdict:
            messages = [message for message in found() if message.id in wanted]
            return _verdict(messages, str(subject.is_well))

        return Check(subject.name, subject.looked_at, look)

    def look_at_rest() -> Verdict:
        messages = [message for message in of_settings() if message.id not in _NAMED]
        return _verdict(messages, gettext("Nothing unsafe was found."))

    rest = Check("other-settings", _("All other settings"), look_at_rest)
    return (*map(check, _SUBJECTS), rest)


def _of_settings() -> list[CheckMessage]:
    tags = [Tags.security, Tags.files, Tags.caches, Tags.urls, Tags.translation]
    return _told(run_checks(tags=tags, include_deployment_checks=settings.IS_PRODUCTION))


def _of_database() -> list[CheckMessage]:
    return _told(run_checks(tags=[Tags.database], databases=["default"]))


def _told(messages: list[CheckMessage]) -> list[CheckMessage]:
    """Without what the club has silenced."""
    return [message for message in messages if not message.is_silenced()]


def _verdict(messages: list[CheckMessage], is_well: str) -> Verdict:
    if not messages:
        return well(is_well)
    words = " ".join(f"{message.msg} ({message.id})" for message in messages)
    fixes = dict.fromkeys(message.hint for message in messages if message.hint)
    fix = " ".join(fixes) or gettext("Look up the number in brackets in Django's system checks.")
    is_urgent = any(each.level >= ERROR or each.id in _URGENT for each in messages)
    return hand(words, fix) if is_urgent else advice(words, fix)
