"""The public part of the audit trail: what changed on a dog or a certificate, and when.

Who did it stays inside, and so do free words, but for the reasons of deeds whose reason is public;
of the chip only that it changed is told. Reads only.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection

from registry.queries.public import Row, as_instant

_PUBLIC_FIELDS = frozenset(
    {"name", "call_name", "sex", "born_on", "died_on", "colour", "studbook_number"}
)


@dataclass(frozen=True, slots=True)
class PublicEntry:
    """One change: the ledger's action, its instant, and public fields from → to.

    ``evaluation`` is the public id of the evaluation it is about, or empty; ``replaced_by`` that of
    the corrected one in its place; ``certificate`` the number issued with it; ``hidden`` names
    changed fields whose values are not public; ``reason`` is why, for deeds whose reason is public.
    """

    action: str
    at: datetime
    evaluation: str
    certificate: str
    published: bool | None
    changes: Mapping[str, tuple[str, str]]
    hidden: tuple[str, ...]
    reason: str = ""
    replaced_by: str = ""


# Forms that ask for these reasons say that they are shown to everybody. Why a registrar approved
# over a warning, for one, is not among them.
_ROWS = (
    "SELECT l.action, l.at, l.subject, l.body, x.text FROM registry_ledgerentry l"
    " LEFT JOIN registry_ledgertext x ON x.entry_id = l.seq AND x.field = 'reason'"
    " AND l.action IN ('evaluation.revoked', 'evaluation.replaced', 'dog.corrected', 'dog.merged')"
)
_BY_SUBJECT = (
    f"{_ROWS} WHERE l.subject = %s AND l.action IN ('evaluation.accepted', 'evaluation.revoked',"
    " 'evaluation.replaced', 'evaluation.consent')"
    " OR l.subject = %s AND l.action IN ('dog.corrected', 'dog.merged') ORDER BY l.seq DESC"
)
_BY_DOG = (
    f"{_ROWS} WHERE l.dog IN (SELECT %s UNION ALL SELECT a.public_id"  # noqa: S608 - our own words
    " FROM registry_dogalias a JOIN registry_dog d ON d.id = a.dog_id WHERE d.public_id = %s)"
    " AND l.action IN ('evaluation.accepted', 'evaluation.revoked', 'evaluation.replaced',"
    " 'evaluation.consent', 'dog.registered', 'dog.corrected', 'dog.confirmed', 'dog.merged',"
    " 'announcement.made', 'announcement.withdrawn') ORDER BY l.seq DESC LIMIT 60"
)


def changes_of_evaluation(public_id: str) -> list[PublicEntry]:
    """The entries about one evaluation, newest first: one query."""
    return entries_from(entry_rows(public_id))


def entry_rows(public_id: str, dog_id: str = "") -> tuple[Row, ...]:
    """The entries about one evaluation, and where its dog is named about the dog's facts, newest
    first, as they lie in the ledger: one query."""
    return _rows(_BY_SUBJECT, f"evaluation:{public_id}", f"dog:{dog_id}")


def entries_from(rows: Iterable[Row]) -> list[PublicEntry]:
    """The entries that the rows tell of."""
    return [_entry(*row) for row in rows]


def changes_of_dog(public_id: str) -> list[PublicEntry]:
    """The latest sixty public entries about one dog and what was merged into it, newest first: one
    query."""
    return entries_from(_rows(_BY_DOG, public_id, public_id))


def _rows(sql: str, *keys: str) -> tuple[Row, ...]:
    with connection.cursor() as cursor:
        cursor.execute(sql, keys)
        return tuple(cursor.fetchall())


def _entry(action: str, at: Any, subject: str, body: str, reason: str | None) -> PublicEntry:
    values: Mapping[str, Mapping[str, Any]] = json.loads(body).get("values", {})
    kind, _colon, public_id = subject.partition(":")
    is_dog = kind == "dog"
    is_evaluation = kind == "evaluation"
    return PublicEntry(
        action=action,
        at=as_instant(at),
        evaluation=public_id if is_evaluation else "",
        certificate=str(values.get("certificate", {}).get("to") or ""),
        published=values.get("consent_to_publish", {}).get("to"),
        changes={
            name: (str(change.get("from") or ""), str(change.get("to") or ""))
            for name, change in values.items()
            if is_dog and name in _PUBLIC_FIELDS
        },
        hidden=tuple(
            name for name in values if is_dog and name in {"chip", "sire", "dam", "breed"}
        ),
        reason=reason or "",
        replaced_by=str(values.get("replaced_by", {}).get("to") or ""),
    )
