"""Keep a pedigree's file between its dry run and its import, so that nobody sends it twice.

The content goes when the file is imported or a day old; name and digest stay.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from registry import clock
from registry.desk.actor import Actor, person_of, require_role
from registry.desk.errors import Conflict, NotFound
from registry.desk.pedigree_import import Report, check, commit
from registry.models import PedigreeFile, Role

_KEPT_FOR = timedelta(days=1)


def keep_file(*, by: Actor, name: str, content: bytes) -> PedigreeFile:
    """Keep a file that was sent in; raises Invalid when it cannot be read at all."""
    require_role(by, Role.REGISTRAR, Role.SECRETARY)
    check(by=by, content=content)
    old = PedigreeFile.objects.filter(sent_at__lt=clock.now() - _KEPT_FOR, imported_at=None)
    old.delete()
    return PedigreeFile.objects.create(
        name=name.replace("\x00", "")[:200],
        sha256=hashlib.sha256(content).hexdigest(),
        content=content,
        sent_by_id=person_of(by),
    )


def look_through(*, by: Actor, file_id: str) -> tuple[PedigreeFile, Report | None]:
    """The file with its dry run of this moment; without one when it is imported already."""
    file = _own(by, file_id)
    report = None if file.imported_at else check(by=by, content=bytes(file.content))
    return file, report


def import_file(*, by: Actor, file_id: str) -> Report:
    """Import a kept file; raises Conflict when that was done already."""
    file = _own(by, file_id)
    content = bytes(file.content)
    with transaction.atomic():
        waiting = PedigreeFile.objects.filter(pk=file.pk, imported_at=None)
        if not waiting.update(imported_at=clock.now(), content=b""):
            raise Conflict(_("This file is imported already."))
        return commit(by=replace(by, via="import"), content=content)


def _own(by: Actor, file_id: str) -> PedigreeFile:
    require_role(by, Role.REGISTRAR, Role.SECRETARY)
    file = PedigreeFile.objects.filter(public_id=file_id, sent_by_id=person_of(by)).first()
    if file is None:
        raise NotFound(_("There is no such file. Files are kept for a day: send it again."))
    return file
