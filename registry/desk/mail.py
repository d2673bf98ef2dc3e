"""Queue mail with the change that causes it, and deliver what waits.

Queuing is part of the change's transaction; sending happens after the commit and decides nothing:
when the
mail server is down the row waits and is tried again. A mail's words, and the owner's private link,
are made
when it is sent.
"""

from __future__ import annotations

import json
import logging
from dataclasses import dataclass
from datetime import timedelta
from smtplib import SMTPException
from typing import Any

from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.core import signing
from django.core.mail import EmailMessage
from django.db import connection, transaction
from django.db.models import F, Q
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext as _

from registry import clock
from registry.desk.actor import Actor, person_of, require_role
from registry.desk.errors import Refused
from registry.ledger.tiles import leaves
from registry.models import Evaluation, LogCheckpoint, OutboxMail, Role, User

logger = logging.getLogger(__name__)

_OWNER_LINK = "owner-link"
MOST_ATTEMPTS = 200
_CLAIM_LAPSES = timedelta(minutes=10)
KINDS = (
    "accepted",
    "returned",
    "declined",
    "revoked",
    "replaced",
    "owner-result",
    "checkpoint",
    "damage",
    "invitation",
    "password-link",
    "sign-in-changed",
    "alarm",
)


_QUEUE = """
    INSERT INTO registry_outboxmail
        (kind, to_email, evaluation_id, detail, created_at, sent_at, attempts, last_error)
    VALUES (%s, %s, %s, %s, %s, %s, %s, '') RETURNING id
"""


def queue(
    *,
    kind: str,
    to_email: str,
    evaluation_pk: int | None = None,
    detail: dict[str, str] | None = None,
    is_at_once: bool = True,
) -> None:
    """Write one mail to the outbox and try to send it once the transaction has committed; not
    ``is_at_once`` leaves it to the worker, so that an answer takes as long as without a mail."""
    if kind not in KINDS:
        raise ValueError(f"no mail is called {kind}")
    if not to_email:
        return
    now = connection.ops.adapt_datetimefield_value(clock.now())
    # The mails of a trial club's past went out in it: nobody is to get them today.
    is_past = clock.is_invented()
    row = [kind, to_email, evaluation_pk, json.dumps(detail or {}), now]
    with connection.cursor() as cursor:
        cursor.execute(_QUEUE, [*row, now if is_past else None, int(is_past)])
        (pk,) = cursor.fetchone()
    if is_at_once and not is_past:
        transaction.on_commit(lambda: _send_quietly(pk), robust=True)


def deliver_waiting(*, most: int = 500) -> tuple[int, int]:
    """Send what waits, oldest first; returns how many went out and how many still wait."""
    waiting = OutboxMail.objects.filter(sent_at__isnull=True, attempts__lt=MOST_ATTEMPTS)
    sent = sum(
        _send_quietly(pk)
        for pk in waiting.order_by("created_at").values_list("pk", flat=True)[:most]
    )
    return sent, OutboxMail.objects.filter(sent_at__isnull=True).count()


@dataclass(frozen=True, slots=True)
class TriedMail:
    """What became of a test mail. ``problem`` is what the mail server said, empty when it took the
    mail; ``is_kept_here`` says that a trial sent it nowhere."""

    address: str
    problem: str
    is_kept_here: bool


def send_test(*, by: Actor) -> TriedMail:
    """Send a mail to the secretary's own address now, past the outbox; raises Refused."""
    require_role(by, Role.SECRETARY)
    address = User.objects.values_list("email", flat=True).get(pk=person_of(by))
    if not address:
        raise Refused(_("Your account has no mail address to send a test mail to."))
    text = render_to_string("mail/test.txt", _site() | {"at": timezone.now()})
    problem = ""
    try:
        _worded(text, address).send()
    except (SMTPException, OSError) as error:
        problem = str(error)[:200] or type(error).__name__
    is_kept_here = not settings.EMAIL_BACKEND.endswith("smtp.EmailBackend")
    return TriedMail(address, problem, is_kept_here)


def owner_token(evaluation: Evaluation) -> str:
    """The private link's token: signed, so that it cannot be guessed and need not be stored."""
    return signing.Signer(salt=_OWNER_LINK).sign(evaluation.public_id)


def evaluation_id_of(token: str) -> str | None:
    """The evaluation's public id when the token is genuine."""
    try:
        return signing.Signer(salt=_OWNER_LINK).unsign(token)
    except signing.BadSignature:
        return None


def _send_quietly(pk: int) -> bool:
    """Send one mail; a failure is written down and leaves it waiting.

    A claim keeps two senders from sending the same mail. It lapses, so that a sender that was
    killed in
    between delays the mail and does not lose it.
    """
    now = clock.now()
    claimed = (
        OutboxMail.objects.filter(pk=pk, sent_at__isnull=True)
        .filter(Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - _CLAIM_LAPSES))
        .update(attempts=F("attempts") + 1, claimed_at=now)
    )
    if not claimed:
        return False
    mail = OutboxMail.objects.select_related("evaluation__dog").get(pk=pk)
    try:
        _message(mail).send()
    except (SMTPException, OSError) as error:
        OutboxMail.objects.filter(pk=pk).update(claimed_at=None, last_error=str(error)[:200])
        logger.warning("a mail could not be sent and waits", extra={"outbox": pk})
        return False
    OutboxMail.objects.filter(pk=pk).update(sent_at=clock.now(), claimed_at=None, last_error="")
    return True


def _message(mail: OutboxMail) -> EmailMessage:
    context: dict[str, Any] = _site() | {"detail": mail.detail}
    evaluation = mail.evaluation
    if evaluation is not None:
        link = f"{settings.SITE_URL}/owner/{owner_token(evaluation)}/"
        context |= {"evaluation": evaluation, "dog": evaluation.dog, "link": link}
    if "user" in mail.detail:
        context |= _about_person(mail.detail["user"])
    text = render_to_string(f"mail/{mail.kind}.txt", context)
    message = _worded(text, mail.to_email)
    if mail.kind == "checkpoint":
        _attach_checkpoint(message, since=int(mail.detail["since"]), size=int(mail.detail["size"]))
    return message


def password_link(user: User) -> str:
    """A link that lets whoever reads it choose the person's password: once, and for two days."""
    token = default_token_generator.make_token(user)
    return f"{settings.SITE_URL}/welcome/{user.subject_id}/{token}/"


def _about_person(subject_id: str) -> dict[str, Any]:
    user = User.objects.get(subject_id=subject_id)
    return {"person": user, "password_link": password_link(user)}


def _site() -> dict[str, Any]:
    return {"club": settings.CLUB_NAME, "site": settings.SITE_URL}


def _worded(text: str, to_email: str) -> EmailMessage:
    """A template's words as a mail: the first line is the subject. Whatever a name in it holds, it
    stays one line, or the mail could not be sent."""
    subject, _blank, body = text.partition("\n")
    return EmailMessage(subject=" ".join(subject.split()), body=body.strip() + "\n", to=[to_email])


def _attach_checkpoint(message: EmailMessage, *, since: int, size: int) -> None:
    """The signed note, and the hash of every entry since the checkpoint that went out before: with
    them a later rewrite can be pinned to its first entry."""
    note = LogCheckpoint.objects.get(size=size).note
    message.attach(f"{size}.checkpoint", note, "text/plain")
    lines = "".join(
        f"{seq} {leaf.hex()}\n" for seq, leaf in enumerate(leaves(since, size), start=since + 1)
    )
    message.attach(f"{since + 1}-{size}.leaves", lines, "text/plain")
