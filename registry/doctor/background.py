"""What goes on behind the pages: the worker, the mail, background tasks, breeding runs."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils import timezone
from django.utils.timesince import timesince
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django_tasks_db.models import DBTaskResult

from registry.desk import upkeep
from registry.desk.mail import MOST_ATTEMPTS
from registry.doctor.findings import Check, Verdict, advice, hand, well
from registry.models import Breed, BreedingRun, LedgerEntry, OutboxMail, RunState, Upkeep
from registry.queries.breeding import changes_since

_ROUND_WITHIN = timedelta(minutes=10)
_MAIL_WITHIN = timedelta(hours=1)
_TASK_WITHIN = timedelta(hours=1)
_BEHIND_WITHIN = timedelta(days=1)
_START = gettext_lazy("Start manage.py work beside the site; if it runs, look in its log.")


def look_at_worker() -> Verdict:
    """Its last round; a large breed's run outlasts many rounds and has a lease of its own."""
    now = timezone.now()
    row = Upkeep.objects.filter(name=upkeep.WORKER).first()
    if BreedingRun.objects.filter(state=RunState.RUNNING, lease_until__gt=now).exists():
        return well(_("The worker is computing a breeding run."))
    if row is None:
        return hand(_("The worker has never made a round."), str(_START))
    words = _("Its last round was %(age)s ago.") % {"age": timesince(row.at, depth=1)}
    return hand(words, str(_START)) if row.at < now - _ROUND_WITHIN else well(words)


def look_at_mail() -> Verdict:
    """Mail that waits decides nothing, but people wait for it."""
    waiting = OutboxMail.objects.filter(sent_at__isnull=True)
    oldest = waiting.order_by("created_at").first()
    if oldest is None:
        return well(_("No mail waits."))
    count = waiting.count()
    words = _("Mails that wait: %(count)d, the oldest for %(age)s.") % {
        "count": count,
        "age": timesince(oldest.created_at, depth=1),
    }
    if oldest.last_error:
        words += " " + _("The mail server said: %(error)s") % {"error": oldest.last_error}
    if oldest.created_at > timezone.now() - _MAIL_WITHIN:
        return well(words)
    return hand(
        words,
        _(
            "Look at the page of mail, send a test mail there, and set SOUNDLINE_SMTP_HOST and the"
            " like right."
        )
        + " "
        + _("What waits goes out by itself afterwards."),
    )


def look_at_given_up_mail() -> Verdict:
    """After many attempts a mail is not tried again."""
    count = OutboxMail.objects.filter(sent_at__isnull=True, attempts__gte=MOST_ATTEMPTS).count()
    if not count:
        return well(_("No mail was given up."))
    return hand(
        _("Mails that were tried %(most)d times and are not tried again: %(count)d.")
        % {"count": count, "most": MOST_ATTEMPTS},
        _("Put the address right if it is wrong, and tell the person another way."),
    )


def look_at_mail_addresses() -> Verdict:
    """A sender that is no address makes every server refuse."""
    faults = []
    for name, address in (
        ("SOUNDLINE_MAIL_FROM", settings.DEFAULT_FROM_EMAIL),
        ("SOUNDLINE_CONTACT_EMAIL", settings.CONTACT_EMAIL),
        *(("SOUNDLINE_LOG_OFFICERS", officer) for officer in settings.LOG_OFFICERS),
    ):
        try:
            validate_email(address)
        except ValidationError:
            faults.append(f"{name} ({address})")
    if faults:
        return hand(
            _("These are no mail addresses: %(names)s.") % {"names": ", ".join(faults)},
            _("Set them to addresses of the form office@club.example."),
        )
    return well(_("Sender, contact and officers are mail addresses."))


def look_at_mail_way() -> Verdict:
    """How mail leaves: not at all in a trial, and readable on its way without TLS."""
    if not settings.EMAIL_BACKEND.endswith("smtp.EmailBackend"):
        return advice(
            _("This is a trial: mail is kept on this computer and reaches nobody."),
            _("A real site runs with SOUNDLINE_MODE=production and a mail server of its own."),
        )
    if not (settings.EMAIL_USE_TLS or settings.EMAIL_USE_SSL):
        return advice(
            _("Mail goes to the mail server without encryption."),
            _("Set SOUNDLINE_SMTP_SECURITY to starttls or tls, unless the server is this one."),
        )
    return well(_("Mail goes out by %(host)s, encrypted.") % {"host": settings.EMAIL_HOST})


def look_at_tasks() -> Verdict:
    """A task that was asked for is begun with the worker's next round."""
    before = timezone.now() - _TASK_WITHIN
    count = DBTaskResult.objects.ready().filter(enqueued_at__lt=before).count()
    if not count:
        return well(_("No background task has waited for an hour."))
    words = _("Background tasks that have waited for more than an hour: %(count)d.")
    return hand(words % {"count": count}, str(_START))


def look_at_failed_runs() -> Verdict:
    """A breed whose last run failed shows old breeding values."""
    names = [
        breed.name
        for breed in Breed.objects.all()
        if (run := breed.breeding_runs.order_by("-number").first()) is not None
        and run.state == RunState.FAILED
    ]
    if not names:
        return well(_("No breed's last run failed."))
    return hand(
        _("The last breeding run failed: %(names)s.") % {"names": ", ".join(names)},
        _("Read why on the page of breeding runs, put it right, and compute anew there."),
    )


def look_at_runs_behind() -> Verdict:
    """The worker asks for a run soon after a change; a day later something is in its way."""
    names = [breed.name for breed in Breed.objects.all() if _is_behind(breed)]
    if not names:
        return well(_("No breed's breeding values are more than a day behind."))
    return hand(
        _("Breeding values are more than a day behind: %(names)s.") % {"names": ", ".join(names)},
        str(_START),
    )


def _is_behind(breed: Breed) -> bool:
    """Whether the last run misses a change of more than a day ago."""
    run = breed.breeding_runs.filter(state=RunState.DONE).order_by("-number").first()
    if run is None or run.finished_at is None:
        return False
    next_entry = LedgerEntry.objects.filter(seq__gt=run.ledger_seq).order_by("seq").first()
    # Counting changes reads every entry since: only where one is old enough.
    if next_entry is None or next_entry.at > timezone.now() - _BEHIND_WITHIN:
        return False
    return run.finished_at < timezone.now() - _BEHIND_WITHIN and changes_since(run) > 0


BACKGROUND = (
    Check("worker", gettext_lazy("The worker beside the site"), look_at_worker),
    Check("mail-waiting", gettext_lazy("Mail that waits"), look_at_mail),
    Check("mail-given-up", gettext_lazy("Mail that was given up"), look_at_given_up_mail),
    Check("mail-addresses", gettext_lazy("Mail addresses in the settings"), look_at_mail_addresses),
    Check("mail-way", gettext_lazy("How mail leaves"), look_at_mail_way),
    Check("tasks", gettext_lazy("Background tasks"), look_at_tasks),
    Check("runs-failed", gettext_lazy("Breeding runs that failed"), look_at_failed_runs),
    Check("runs-behind", gettext_lazy("Breeding runs that are behind"), look_at_runs_behind),
)
