"""Put a person's data right, or erase it: owners, and people with accounts.

What was found about a dog stays. The ledger keeps its entries, which name nobody; the words beside
them are blanked, and chain, tree and old proofs verify as before.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import DatabaseError, connection, transaction
from django.db.models import Model
from django.utils.translation import gettext as _

from registry import clock
from registry.desk import reasons
from registry.desk.actor import Actor, require_role
from registry.desk.errors import Invalid, NotFound, Refused
from registry.desk.people import close_account
from registry.ledger import Change, append
from registry.models import OutboxMail, Owner, Role, User
from registry.queries import personal
from registry.queries.personal import Words

logger = logging.getLogger(__name__)

_BLANK = "…"
_TOUCHED = (
    "registry_owner",
    "registry_user",
    "registry_ledgertext",
    "registry_outboxmail",
    "registry_evaluation",
    "registry_announcement",
    "registry_draft",
    "registry_secondlook",
    "registry_evidence",
    "registry_pedigreefile",
    "registry_apitoken",
    "registry_replaykey",
    "django_session",
    "mfa_authenticator",
    "usersessions_usersession",
)


@dataclass(frozen=True, slots=True)
class Erased:
    """How many rows lost the person's words, by kind."""

    ledger_texts: int
    mails: int
    results: int
    drafts: int
    names: int
    answers: int


def correct_owner(*, by: Actor, owner_id: str, full_name: str, email: str, reason: str) -> Owner:
    """Put an owner's name or mail address right."""
    require_role(by, Role.SECRETARY)
    name, address = " ".join(full_name.split()), email.strip()
    if not name or len(name) > 120 or "\x00" in name:
        raise Invalid.one("/full_name", _("Enter a name of up to 120 characters."))
    if address:
        try:
            validate_email(address)
        except ValidationError as error:
            raise Invalid.one("/email", _("Enter a mail address like name@example.org.")) from error
    reason = reasons.needed(reason, _("Say why the data is changed."))
    with transaction.atomic():
        owner = _owner(owner_id)
        changes = {
            "full_name": Change(owner.full_name, name),
            "email": Change(owner.email, address),
        }
        Owner.objects.filter(pk=owner.pk).update(full_name=name, email=address)
        append(
            by=by,
            action="owner.corrected",
            subject=f"owner:{owner.public_id}",
            personal={
                field: change for field, change in changes.items() if change.before != change.after
            },
            reason=reason,
        )
    owner.refresh_from_db()
    return owner


def erase_owner(*, by: Actor, owner_id: str) -> Erased:
    """Erase an owner's words wherever they stand; the dog's results stay, without a name."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        owner = _owner(owner_id)
        _wipe_when_deleted()
        at = clock.now()
        OutboxMail.objects.filter(kind="owner-result", evaluation__owner=owner).delete()
        erased = _erase_words(personal.words_of_owner(owner), at)
        Owner.objects.filter(pk=owner.pk).update(full_name="", email="", user=None, erased_at=at)
        append(by=by, action="owner.erased", subject=f"owner:{owner.public_id}")
    _leave_no_trace()
    return erased


def erase_user(*, by: Actor, user_id: int) -> Erased:
    """Close an account and erase the person's words wherever they stand; what they did stays on
    record under their random id."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        user = User.objects.filter(pk=user_id).first()
        if user is None:
            raise NotFound(_("There is no such account."))
        if user.pk == by.user_pk:
            raise Refused(_("You cannot erase yourself. Another secretary has to do it."))
        words = personal.words_of_user(user)
        close_account(by=by, user_id=user_id)
        _wipe_when_deleted()
        at = clock.now()
        erased = _erase_words(words, at)
        user.refresh_from_db()
        user.username, user.full_name, user.email = f"erased.{user.subject_id}", "", ""
        user.set_unusable_password()
        user.save()
        # A session's data may hold a message with the name; this person's have ended already.
        Session.objects.filter(expire_date__lt=at).delete()
        append(by=by, action="user.erased", subject=f"user:{user.subject_id}")
    _leave_no_trace()
    return erased


def _owner(owner_id: str) -> Owner:
    owner = Owner.objects.filter(public_id=owner_id, erased_at__isnull=True).first()
    if owner is None:
        raise NotFound(_("There is no such owner."))
    return owner


def _erase_words(words: Words, at: datetime) -> Erased:
    """Blank the words in every text; texts that are only theirs go whole."""
    # The rows are named before the first is changed: a change would take them out of the search.
    texts = list(personal.ledger_texts_with(words).values_list("pk", flat=True))
    mails = list(personal.mails_with(words))
    results = list(personal.evaluations_with(words))
    announced = list(personal.announcements_with(words))
    looks = list(personal.looks_with(words))
    drafts = list(personal.drafts_with(words))
    files = list(personal.evidence_with(words))
    pedigrees = list(personal.pedigree_files_with(words))
    tokens = list(personal.tokens_with(words))
    answers = personal.answers_with(words).delete()[0]
    for pk in texts:
        _blank_ledger_text(pk, at)
    for mail in mails:
        _blank_mail(mail, words)
    _take_out(words, results, "examiner", "reason")
    _take_out(words, announced, "reason")
    _take_out(words, looks, "reason")
    for draft in drafts:
        draft.answers = _without_in(draft.answers, words)
        draft.save(update_fields=["answers"])
    _take_out(words, files, "original_name")
    _take_out(words, pedigrees, "name")
    _take_out(words, tokens, "name")
    reasons = len(results) + len(announced) + len(looks)
    names = len(files) + len(pedigrees) + len(tokens)
    return Erased(len(texts), len(mails), reasons, len(drafts), names, answers)


def _take_out(words: Words, rows: Sequence[Model], *fields: str) -> None:
    """Write the rows' texts without the person's words."""
    for row in rows:
        for name in fields:
            setattr(row, name, _without(getattr(row, name), words))
        row.save(update_fields=fields)


def _blank_ledger_text(pk: int, at: datetime) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE registry_ledgertext SET text = '', salt = '', erased_at = %s WHERE id = %s",
            [connection.ops.adapt_datetimefield_value(at), pk],
        )


def _blank_mail(mail: OutboxMail, words: Words) -> None:
    """A mail that waits for the person is not sent any more; one that went out loses its words."""
    if mail.to_email.casefold() in {word.casefold() for word in words.all()}:
        mail.delete()
        return
    mail.detail = _without_in(mail.detail, words)
    mail.save(update_fields=["detail"])


def _without(text: str, words: Words) -> str:
    if text.casefold() in {word.casefold() for word in words.short()}:
        return _BLANK
    for word in words.all():
        text = re.sub(re.escape(word), _BLANK, text, flags=re.IGNORECASE)
    return text


def _without_in(value: Any, words: Words) -> Any:
    """The same for every text inside a JSON value."""
    if isinstance(value, str):
        return _without(value, words)
    if isinstance(value, dict):
        return {name: _without_in(part, words) for name, part in value.items()}
    if isinstance(value, list):
        return [_without_in(part, words) for part in value]
    return value


def _wipe_when_deleted() -> None:
    """Let SQLite overwrite what it deletes, in this connection, from now on."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA secure_delete = ON")


def _leave_no_trace() -> None:
    """Take the old rows out of the database's files as well, once the change is committed.

    The erasure stands by then; where the database cannot tidy up at the moment, its next vacuum
    does, and the log says so.
    """
    if connection.in_atomic_block:
        transaction.on_commit(_leave_no_trace)
        return
    try:
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            else:
                for table in _TOUCHED:
                    cursor.execute(f"VACUUM {table}")
    except DatabaseError:
        logger.exception("erased; the database's files keep the old rows until its next vacuum")
