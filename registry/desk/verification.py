"""Verify the audit trail and what rests on it, remember how it ended, and tell the officers when it
ended badly. The commands and the worker's daily round do it the same way.

It changes no record of the club: it reads, and leaves a note.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from itertools import chain, islice

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from registry.archive.snapshot import snapshot
from registry.desk import upkeep
from registry.desk.agreement import check_files, check_rows
from registry.desk.announcement_agreement import check_announcements
from registry.desk.distributions import Rebuilt, compare_distributions
from registry.desk.dog_agreement import check_dogs
from registry.desk.forecast_agreement import check_forecasts
from registry.desk.mail import queue
from registry.desk.office_agreement import check_office
from registry.ledger.checkpoints import Checkpoint, NoteProblem, open_note
from registry.ledger.damage import Damage
from registry.ledger.keys import verifier_keys
from registry.ledger.public_tree import compare
from registry.ledger.verify import verify
from registry.models import LogCheckpoint, Upkeep

logger = logging.getLogger(__name__)

# Half an hour less than a day, so that it does not wander through the day.
_BETWEEN = timedelta(hours=23, minutes=30)
_MOST = 100
_MAILED_LINES = 10


@dataclass(frozen=True, slots=True)
class Verified:
    """``found`` damages, the first of them in ``damages``; of the ledger how many ``entries`` were
    read and its last hash, of the records neither."""

    found: int
    damages: tuple[Damage, ...]
    entries: int = 0
    head: str = ""


def verify_ledger(
    *,
    kept: Iterable[Checkpoint] = (),
    saved: Mapping[int, bytes] | None = None,
    most: int = _MOST,
    progress: Callable[[int], None] | None = None,
    processes: int = 1,
) -> Verified:
    """Walk the whole trail, hold it against checkpoints that were ``kept`` and leaf hashes that
    were ``saved`` with them, by entry, and remember how it ended."""
    verdict = verify(most=most, progress=progress, processes=processes)
    differences = tuple(compare(verdict.leaves, list(kept), saved or {}))
    found = verdict.found + len(differences)
    damages = (*verdict.damages, *differences)
    facts = {"entries": verdict.entries, "damages": found, "first": _first(damages)}
    upkeep.remember(name=upkeep.LEDGER, ok=not found, detail=facts)
    return Verified(found, damages, verdict.entries, verdict.head)


def verify_records(*, most: int = _MOST, with_files: bool = True) -> Verified:
    """Hold results, announcements, dogs, roles, kept forecasts, counts and stored files against the
    ledger, and remember how it ended. Stops at ``most`` differences."""
    try:
        # Results are approved meanwhile: trail and rows are read as of one moment.
        with snapshot():
            rows = chain(
                check_rows(), check_announcements(), check_dogs(), check_office(), check_forecasts()
            )
            seen, counts = list(islice(rows, most)), compare_distributions()
        upkeep.remember(name=upkeep.COUNTS, ok=counts.agrees)
        rest = chain(_counts(counts), check_files() if with_files else ())
        damages = (*seen, *islice(rest, most - len(seen)))
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        # The witness itself is damaged: a body that is no JSON, or not of the shape of an entry;
        # or a row holds what its column cannot.
        text = (
            f"an entry of the ledger or a row cannot be read ({type(error).__name__}): run"
            " verify_ledger; if it finds nothing, compare the database with a backup"
        )
        damages = (Damage(0, "ledger", "unreadable", text),)
    facts = {"differences": len(damages), "files": with_files, "first": _first(damages)}
    upkeep.remember(name=upkeep.RECORDS, ok=not damages, detail=facts)
    return Verified(len(damages), damages)


def line(damage: Damage) -> str:
    """A damage as the commands and the mail tell it."""
    return f"entry {damage.seq} · {damage.field} · {damage.kind}: {damage.text}"


def verify_when_due() -> dict[str, int]:
    """Verify the ledger against the checkpoint that was mailed last, and the records, once a day;
    officers get a mail when something was found. Returns what was found by name of the work.

    Two workers at the same moment both verify, which does no harm.
    """
    done: dict[str, int] = {}
    for name, check in ((upkeep.LEDGER, _against_last_mailed), (upkeep.RECORDS, verify_records)):
        if not _is_due(name):
            continue
        seen = check()
        done[name] = seen.found
        if seen.found:
            _tell_officers(name, seen)
    return done


def _is_due(name: str) -> bool:
    """What lies in the future was written by a clock that was ahead, and proves nothing."""
    now = timezone.now()
    return not Upkeep.objects.filter(name=name, at__gt=now - _BETWEEN, at__lte=now).exists()


def _against_last_mailed() -> Verified:
    """The ledger against what the officers were sent last, as the registry kept it."""
    mailed = LogCheckpoint.objects.filter(mailed_at__isnull=False).last()
    if mailed is None:
        return verify_ledger()
    try:
        return verify_ledger(kept=[Checkpoint.parse(open_note(mailed.note, verifier_keys()))])
    except (NoteProblem, TypeError):
        # That it cannot be believed is a damage that the walk itself names.
        return verify_ledger()


def _counts(seen: Rebuilt) -> Iterator[Damage]:
    """The counts of the distributions against the evaluations."""
    if difference := seen.cell_difference or seen.counted_difference:
        yield Damage(0, "counts", "edited", f"the breed's counts differ: {difference}")
    for fault in seen.public_faults:
        yield Damage(0, "public states", "edited", fault)


def _first(damages: tuple[Damage, ...]) -> str:
    return damages[0].text if damages else ""


def _tell_officers(name: str, seen: Verified) -> None:
    """Queue the mail to those who keep the log's checkpoints."""
    lines = "\n".join(line(damage) for damage in seen.damages[:_MAILED_LINES])
    detail = {"command": name.replace("-", "_"), "found": str(seen.found), "lines": lines}
    with transaction.atomic():
        for officer in settings.LOG_OFFICERS:
            queue(kind="damage", to_email=officer, detail=detail)
    logger.error("%s: damages found: %d, the first: %s", name, seen.found, _first(seen.damages))
