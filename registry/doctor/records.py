"""The records themselves: the ledger's head, its checkpoints, the last verifications, the files.

Whole verifications are made by the worker once a day and by commands; here only their last end is
read.
"""

from __future__ import annotations

import hashlib
from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.utils import timezone
from django.utils.timesince import timesince
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.desk import upkeep
from registry.doctor.findings import Check, Verdict, advice, hand, well
from registry.ledger import tree
from registry.ledger.checkpoints import Checkpoint, NoteProblem, open_note
from registry.ledger.keys import verifier_keys
from registry.ledger.tiles import stored_nodes
from registry.models import Evidence, LedgerEntry, LedgerHead, LogCheckpoint, Upkeep

# The worker signs hourly and mails daily; half as much again is no alarm.
_SEALED_WITHIN = timedelta(hours=3)
_MAILED_WITHIN = timedelta(hours=50)
_VERIFIED_WITHIN = timedelta(days=2)
_FILES_SAMPLED = 8
_MOST_SAMPLED_BYTES = 200 * 2**20
_KEEP = gettext_lazy("Keep the database as it is, and compare it with a backup.")


def look_at_head() -> Verdict:
    """The head's row, the newest entry and the last checkpoint must be of one history."""
    head, newest = LedgerHead.objects.first(), LedgerEntry.objects.order_by("-seq").first()
    seq, hashed = (newest.seq, newest.hash) if newest else (0, "0" * 64)
    if head is None or (head.seq, head.hash) != (seq, hashed):
        return hand(
            _("The ledger's head does not name its newest entry, number %(seq)d.") % {"seq": seq},
            _("Run manage.py verify_ledger.") + f" {_KEEP}",
        )
    last = LogCheckpoint.objects.last()
    if last is not None and (
        last.size > seq or tree.root(stored_nodes(), last.size).hex() != last.root
    ):
        return hand(
            _("The entries up to %(size)d are not those the last checkpoint was signed for.")
            % {"size": last.size},
            _("Run manage.py verify_ledger.") + f" {_KEEP}",
        )
    return well(_("Entries: %(seq)d; the newest is the head's.") % {"seq": seq})


def look_at_checkpoint_age() -> Verdict:
    """Entries are sealed within an hour or so while the worker runs."""
    last = LogCheckpoint.objects.last()
    size = last.size if last else 0
    oldest = LedgerEntry.objects.filter(seq__gt=size).order_by("seq").first()
    if oldest is None or oldest.at > timezone.now() - _SEALED_WITHIN:
        return well(_("The log is sealed up to entry %(size)d.") % {"size": size})
    return hand(
        _("Entry %(seq)d has waited %(age)s to be sealed in the public log.")
        % {"seq": oldest.seq, "age": timesince(oldest.at, depth=1)},
        _("Start manage.py work; if it runs, look in its log for the reason."),
    )


def look_at_checkpoint_note() -> Verdict:
    """The last checkpoint, as anybody would open it."""
    last = LogCheckpoint.objects.last()
    if last is None:
        return well(_("Nothing has been sealed yet."))
    try:
        opened = Checkpoint.parse(open_note(last.note, verifier_keys()))
    except NoteProblem as problem:
        return hand(
            _("The last checkpoint does not open. %(why)s") % {"why": problem},
            _("Name the key it was signed with in SOUNDLINE_LOG_FORMER_KEYS; SOUNDLINE_LOG_ORIGIN")
            + " "
            + _("must be as it was."),
        )
    if (opened.size, opened.root.hex()) != (last.size, last.root):
        return hand(
            _("The last checkpoint says something else than was stored beside it."),
            _("Run manage.py verify_ledger.") + f" {_KEEP}",
        )
    return well(_("It opens with the keys of the settings."))


def look_at_checkpoint_mail() -> Verdict:
    """Somebody else has to hold a checkpoint, or a rewrite goes unseen."""
    if not settings.LOG_OFFICERS:
        return advice(
            _("Nobody is sent the checkpoints."),
            _("Name at least two mail addresses in SOUNDLINE_LOG_OFFICERS."),
        )
    mailed = LogCheckpoint.objects.filter(mailed_at__isnull=False).last()
    since = LogCheckpoint.objects.filter(size__gt=mailed.size if mailed else 0).first()
    if since is None or since.made_at > timezone.now() - _MAILED_WITHIN:
        return well(_("The officers have been sent what is due."))
    return hand(
        _("A checkpoint was signed %(age)s ago and none was mailed since.")
        % {"age": timesince(since.made_at, depth=1)},
        _("Start manage.py work, and look at the page of mail for what waits."),
    )


def _last(name: str, command: str, bad: str) -> Verdict:
    """How a verification last ended, and whether that is longer ago than the worker lets it be."""
    row = Upkeep.objects.filter(name=name).first()
    fix = _("Run manage.py %(command)s.") % {"command": command}
    if row is None:
        return advice(_("It has not been done yet."), fix)
    age = _("Last done %(age)s ago.") % {"age": timesince(row.at, depth=1)}
    if not row.ok:
        first = row.detail.get("first", "")
        words = _("The first of it: %(first)s.") % {"first": first} if first else ""
        return hand(f"{age} {bad} {words}".rstrip(), f"{fix} {_KEEP}")
    if row.at < timezone.now() - _VERIFIED_WITHIN:
        return hand(age, _("Start manage.py work, which does it once a day.") + f" {fix}")
    return well(age + " " + _("All was in order."))


def look_at_verified_ledger() -> Verdict:
    """The last walk over the whole audit trail."""
    return _last(upkeep.LEDGER, "verify_ledger", _("The ledger was damaged."))


def look_at_verified_records() -> Verdict:
    """The last comparison of results, certificates and files with the ledger."""
    bad = _("The registry did not say what its ledger says.")
    return _last(upkeep.RECORDS, "verify_records", bad)


def look_at_counts() -> Verdict:
    """The last count of all breeds anew."""
    bad = _("The stored counts differed from the results.")
    return _last(upkeep.COUNTS, "rebuild_distributions --check", bad)


def look_at_evidence_sample() -> Verdict:
    """A few files against their SHA-256, others each day."""
    files = Evidence.objects.filter(size__lte=_MOST_SAMPLED_BYTES // _FILES_SAMPLED).order_by("pk")
    count = files.count()
    step = max(1, count // _FILES_SAMPLED)
    start = timezone.localdate().toordinal() % step
    sample = [files[place] for place in range(start, count, step)][:_FILES_SAMPLED]
    wrong = [each.public_id for each in sample if not _is_whole(each)]
    if not wrong:
        words = _("Files read: %(count)d of %(all)d; each is what was taken in.")
        return well(words % {"count": len(sample), "all": count})
    return hand(
        _("Not what was taken in, or gone: %(names)s.") % {"names": ", ".join(wrong)},
        _("Run manage.py verify_records, and take these files from a backup."),
    )


def _is_whole(evidence: Evidence) -> bool:
    try:
        content = (Path(settings.EVIDENCE_ROOT) / evidence.stored_name).read_bytes()
    except OSError:
        return False
    return hashlib.sha256(content).hexdigest() == evidence.sha256


RECORDS = (
    Check("ledger-head", gettext_lazy("The ledger's head and the last checkpoint"), look_at_head),
    Check(
        "checkpoint-age", gettext_lazy("How far the public log is sealed"), look_at_checkpoint_age
    ),
    Check(
        "checkpoint-opens", gettext_lazy("The last checkpoint's signature"), look_at_checkpoint_note
    ),
    Check(
        "checkpoint-mail", gettext_lazy("Checkpoints mailed to officers"), look_at_checkpoint_mail
    ),
    Check("ledger-verified", gettext_lazy("The check of the audit trail"), look_at_verified_ledger),
    Check(
        "records-verified",
        gettext_lazy("The check of results and files against the audit trail"),
        look_at_verified_records,
    ),
    Check("counts", gettext_lazy("The check of the breeds' counts"), look_at_counts),
    Check(
        "evidence-sample",
        gettext_lazy("A sample of the stored files"),
        look_at_evidence_sample,
        is_slow=True,
    ),
)
