"""Take in evidence files: type by content, size limited, stored under a random name with their
SHA-256.

Written to a temporary file, fsynced, renamed, the folder fsynced, and only then named in the
database: what
was acknowledged survives a kill, and what was not leaves at most a nameless file for the sweeper.
"""

from __future__ import annotations

import hashlib
import logging
import os
import re
import secrets
import unicodedata
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from registry.desk.actor import Actor, clinic_of, person_of, require_role
from registry.desk.errors import Invalid, NotFound
from registry.desk.scanner import ScannerError, found_in
from registry.ledger import Change, append
from registry.models import Draft, Evaluation, Evidence, Role

logger = logging.getLogger(__name__)

_HEAD_BYTES = 132
_ENDINGS = {
    "image/jpeg": (".jpg", ".jpeg"),
    "image/png": (".png",),
    "application/pdf": (".pdf",),
    "application/dicom": (".dcm", ".dicom"),
}
_ORPHAN_AGE = timedelta(hours=24)
SET_ASIDE = "swept"
_KEPT_ASIDE = timedelta(days=30)
_OWN_NAME = re.compile(r"[0-9a-f]{32}(\.part)?")
MOST_FILES = 20


def content_type_of(head: bytes) -> str | None:
    """The type by the first bytes (132 are enough), or None when it is none of those taken.

    Signatures: JPEG ITU-T T.81, PNG W3C Recommendation, PDF ISO 32000, DICOM PS3.10 section 7.1.
    """
    if head.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if head.startswith(b"%PDF-"):
        return "application/pdf"
    if head[128:132] == b"DICM" and not head.startswith((b"MZ", b"\x7fELF", b"PK", b"<")):
        # The 128 bytes before the mark are free: a program may hide there and must not be passed
        # on.
        return "application/dicom"
    return None


def attach(
    *, by: Actor, chunks: Iterable[bytes], name: str, draft_id: str | None = None
) -> Evidence:
    """Store one file for the actor's clinic; on a draft, or loose until an evaluation names it."""
    require_role(by, Role.CLINIC)
    draft = None
    if draft_id is not None:
        draft = _draft(by, draft_id)
        if draft.evidence.count() >= MOST_FILES:
            raise Invalid.one(
                "/evidence",
                _("There are %(most)d files already. Remove one first.") % {"most": MOST_FILES},
            )
    folder = Path(settings.EVIDENCE_ROOT)
    folder.mkdir(parents=True, exist_ok=True)
    part = folder / f"{secrets.token_hex(16)}.part"
    try:
        sha256, size, content_type = _write(part, chunks)
        _scan(part)
        stored = folder / secrets.token_hex(16)
        part.rename(stored)
    finally:
        part.unlink(missing_ok=True)
    _fsync_folder(folder)
    with transaction.atomic():
        evidence = Evidence.objects.create(
            clinic_id=clinic_of(by),
            draft=draft,
            sha256=sha256,
            size=size,
            content_type=content_type,
            original_name=_tidy_name(name),
            stored_name=stored.name,
            uploaded_by_id=person_of(by),
        )
        append(
            by=by,
            action="evidence.attached",
            subject=f"evidence:{evidence.public_id}",
            changes={
                "sha256": Change(None, sha256),
                "size": Change(None, size),
                "content_type": Change(None, content_type),
            },
            personal={"original_name": Change(None, evidence.original_name)},
        )
    return evidence


def detach(*, by: Actor, evidence_id: str) -> None:
    """Take a file off a draft again. What was sent to the club stays."""
    require_role(by, Role.CLINIC)
    with transaction.atomic():
        evidence = Evidence.objects.filter(
            public_id=evidence_id, clinic_id=clinic_of(by), evaluation__isnull=True
        ).first()
        if evidence is None:
            raise NotFound(_("There is no such file."))
        _forget(by, evidence)


def claim_for(
    *, by: Actor, evaluation: Evaluation, evidence_ids: Iterable[str], draft: Draft | None
) -> list[Evidence]:
    """Bind files to the evaluation, inside the caller's transaction; raises Invalid for a file not
    theirs."""
    wanted = list(dict.fromkeys(evidence_ids))
    loose = Evidence.objects.filter(clinic_id=clinic_of(by), evaluation__isnull=True)
    found = {item.public_id: item for item in loose.filter(public_id__in=wanted)}
    for index, public_id in enumerate(wanted):
        if public_id not in found:
            raise Invalid.one(
                f"/evidence/{index}", _("There is no such file waiting. Send the file again.")
            )
    if draft is not None:
        found |= {item.public_id: item for item in loose.filter(draft=draft)}
    if len(found) > MOST_FILES:
        raise Invalid.one("/evidence", _("Send at most %(most)d files.") % {"most": MOST_FILES})
    Evidence.objects.filter(pk__in=[item.pk for item in found.values()]).update(
        evaluation=evaluation
    )
    return list(found.values())


def sweep(*, by: Actor) -> int:
    """Remove loose files that nothing named for a day, and set aside files on disk that no row
    names.

    Only what has a name of this module's making is touched, so that no other file is lost where the
    folder is shared, and what is set aside is kept for a month: a database that was put back may be
    older than the folder.
    """
    too_old = timezone.now() - _ORPHAN_AGE
    removed = 0
    loose = Evidence.objects.filter(
        evaluation__isnull=True, draft__isnull=True, uploaded_at__lt=too_old
    )
    for evidence in loose:
        with transaction.atomic():
            _forget(by, evidence)
        removed += 1
    folder = Path(settings.EVIDENCE_ROOT)
    aside = folder / SET_ASIDE
    for path in _own_files(folder, before=too_old):
        if not Evidence.objects.filter(stored_name=path.name).exists():
            aside.mkdir(mode=0o700, exist_ok=True)
            path.rename(aside / path.name)
            os.utime(aside / path.name)
            removed += 1
    for path in _own_files(aside, before=timezone.now() - _KEPT_ASIDE):
        path.unlink(missing_ok=True)
    return removed


def _own_files(folder: Path, *, before: datetime) -> list[Path]:
    """The files of this module's making that were last changed before the instant."""
    if not folder.is_dir():
        return []
    own = (path for path in folder.iterdir() if _OWN_NAME.fullmatch(path.name))
    files = (path for path in own if path.is_file() and not path.is_symlink())
    return [path for path in files if path.stat().st_mtime < before.timestamp()]


def stored_path(evidence: Evidence) -> Path:
    """Where the bytes lie."""
    return Path(settings.EVIDENCE_ROOT) / evidence.stored_name


def download_name(evidence: Evidence) -> str:
    """The name it is handed out under: the one it came with, ending as its content wants it.

    A picture that was sent as ``film.jpg.php`` or ``report.html`` must not be opened as such.
    """
    endings = _ENDINGS[evidence.content_type]
    name = evidence.original_name
    return name if name.lower().endswith(endings) else f"{name}{endings[0]}"


def _draft(by: Actor, draft_id: str) -> Draft:
    draft = Draft.objects.filter(
        public_id=draft_id, clinic_id=clinic_of(by), sent_as__isnull=True
    ).first()
    if draft is None:
        raise NotFound(_("There is no such draft."))
    return draft


def _write(part: Path, chunks: Iterable[bytes]) -> tuple[str, int, str]:
    """Write the bytes durably; returns digest, size and type, or raises Invalid before much is
    written."""
    digest, size, head = hashlib.sha256(), 0, b""
    with part.open("xb") as file:
        for chunk in chunks:
            if len(head) < _HEAD_BYTES:
                head = (head + chunk)[:_HEAD_BYTES]
            size += len(chunk)
            if size > settings.EVIDENCE_MAX_BYTES:
                raise Invalid.one(
                    "/file",
                    _("The file is larger than %(most)d MB. Send a smaller one.")
                    % {"most": settings.EVIDENCE_MAX_BYTES // 2**20},
                )
            digest.update(chunk)
            file.write(chunk)
        file.flush()
        os.fsync(file.fileno())
    if size == 0:
        raise Invalid.one("/file", _("The file is empty. Choose the file again."))
    content_type = content_type_of(head)
    if content_type is None:
        raise Invalid.one(
            "/file", _("Send a JPEG, PNG, PDF or DICOM file; this one is none of them.")
        )
    return digest.hexdigest(), size, content_type


def _scan(part: Path) -> None:
    """Refuse what a virus scanner objects to, or everything while a scanner that is set is away."""
    try:
        found = found_in(part)
    except ScannerError as error:
        logger.warning("the virus scanner does not answer: %s", error)
        words = _("The virus scanner does not answer. The file was not kept; try again later.")
        raise Invalid.one("/file", words) from error
    if found:
        words = _("The virus scanner found %(what)s in this file. It was not kept.")
        raise Invalid.one("/file", words % {"what": found})


def _fsync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _tidy_name(name: str) -> str:
    """The name as shown: no path, no control characters, at most 200 characters."""
    base = name.replace("\\", "/").rpartition("/")[2]
    printable = "".join(sign for sign in base if unicodedata.category(sign)[0] != "C")
    return " ".join(printable.split())[-200:] or "file"


def _forget(by: Actor, evidence: Evidence) -> None:
    """Remove a loose file: its row and ledger entry first, the bytes once that has committed."""
    append(
        by=by,
        action="evidence.removed",
        subject=f"evidence:{evidence.public_id}",
        changes={"sha256": Change(evidence.sha256, None)},
    )
    path = stored_path(evidence)
    evidence.delete()
    transaction.on_commit(lambda: path.unlink(missing_ok=True), robust=True)
