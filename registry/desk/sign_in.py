"""How a person gets in: invitations, links to choose a password, second steps, sessions.

The library keeps passkeys, secrets of authenticator apps and recovery codes; what becomes of them
is written down here, with a mail to the person, so that nobody's way in changes unseen. A link is
made when its mail is sent and is stored nowhere: it is signed over the password, so it ends when a
password is chosen.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.contrib.auth.tokens import default_token_generator
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from registry.desk import mail, reasons
from registry.desk.actor import Actor, require_role
from registry.desk.errors import Invalid, NotFound, Problem, Refused
from registry.ledger import append
from registry.models import Role, User
from registry.models.ids import random_id

Happening = Literal[
    "password",
    "passkey-added",
    "passkey-removed",
    "app-added",
    "app-removed",
    "codes-renewed",
    "steps-removed",
]
MOST_ASKED = 5


def person(user: User, *, request_id: str = "") -> Actor:
    """A person who looks after their own account, in no role."""
    return Actor(
        user_pk=user.pk, subject_id=user.subject_id, role=None, via="web", request_id=request_id
    )


def send_link(*, by: Actor, user_id: int) -> User:
    """Mail a person a link to choose a password: the invitation again if they never had one."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        user = _active(user_id)
        if not user.email:
            raise Refused(_("This account has no mail address to send a link to."))
        queue_link(user)
        append(by=by, action="user.link_sent", subject=f"user:{user.subject_id}")
    return user


def ask_for_link(*, asked: str) -> None:
    """Mail a link to whoever has this login or mail address; say nothing of whether anybody does.

    No entry in the ledger: anybody may ask, and nothing is changed.
    """
    asked = asked.strip()
    if not asked or "\x00" in asked:
        return
    with transaction.atomic():
        found = User.objects.filter(Q(username__iexact=asked) | Q(email__iexact=asked))
        for user in found.filter(is_active=True).exclude(email="")[:MOST_ASKED]:
            # Talking to a mail server would tell by its time that there is such an account; on a
            # trial no worker sends what waits.
            queue_link(user, is_at_once=not settings.IS_PRODUCTION)


def queue_link(user: User, *, is_at_once: bool = True) -> None:
    """Put the mail with the link into the outbox; the link itself is made when it is sent."""
    kind = "password-link" if user.has_usable_password() else "invitation"
    mail.queue(
        kind=kind,
        to_email=user.email,
        detail={"user": user.subject_id},
        is_at_once=is_at_once,
    )


def link_for(*, by: Actor, user_id: int) -> str:
    """The link itself, for the command on the machine alone; mails make their own."""
    if by.role is not None or by.user_pk is not None:
        raise Refused(_("A link goes by mail, to the person alone."))
    with transaction.atomic():
        user = _active(user_id)
        append(by=by, action="user.link_sent", subject=f"user:{user.subject_id}")
    return mail.password_link(user)


def user_of_link(subject_id: str, token: str) -> User | None:
    """Whose link this is, as long as it holds."""
    user = User.objects.filter(subject_id=subject_id, is_active=True).first()
    return user if user and default_token_generator.check_token(user, token) else None


def take_link(*, subject_id: str, token: str, password: str, request_id: str = "") -> User:
    """Choose a password by a link from a mail; raises NotFound for a link that holds no more.

    Sessions end, since a forgotten password may be a stolen one. A second step stays.
    """
    with transaction.atomic():
        User.objects.select_for_update().filter(subject_id=subject_id).first()
        user = user_of_link(subject_id, token)
        if user is None:
            raise NotFound(_("This link has ended."))
        _set_password(person(user, request_id=request_id), user, password)
        _end_all(user)
    return user


def change_password(*, by: Actor, password: str) -> User:
    """A person's own new password; all sessions end, the page keeps the one it is on."""
    with transaction.atomic():
        user = _active(by.user_pk)
        _set_password(by, user, password)
        _end_all(user)
    return user


def give_password(*, user_id: int, password: str) -> User:
    """Set a password from the command line, as a trial does; on the site nobody sets another's."""
    with transaction.atomic():
        user = _active(user_id)
        _set_password(Actor.system(), user, password)
        _end_all(user)
    return user


class GivenStep(NamedTuple):
    """A second step made for somebody: the app's key, and recovery codes."""

    key: str
    codes: tuple[str, ...]


def give_second_step(*, user_id: int) -> GivenStep:
    """Set up an app and recovery codes from the command line, as a trial does; former ones end."""
    with transaction.atomic():
        user = _active(user_id)
        Authenticator.objects.filter(user=user).delete()
        key = generate_totp_secret()
        TOTP.activate(user, key)
        codes = RecoveryCodes.activate(user).get_unused_codes()
        append(by=Actor.system(), action="user.app_added", subject=f"user:{user.subject_id}")
    return GivenStep(key, tuple(codes))


def note(*, by: Actor, what: Happening) -> User:
    """Write down that a person's own second step came, went or was renewed, and tell them by mail.

    Called in the transaction of the change itself. Every other session ends: one that began under
    the former steps must not stay open.
    """
    user = _active(by.user_pk)
    append(by=by, action=f"user.{what.replace('-', '_')}", subject=f"user:{user.subject_id}")
    _tell(user, what)
    _end_all(user)
    return user


def remove_second_steps(*, by: Actor, user_id: int, reason: str) -> User:
    """For somebody who lost telephone and codes: away with all of them, and out of every session.

    A secretary does it for another person and says how they made sure who it is.
    """
    if by.role is not None:
        require_role(by, Role.SECRETARY)
    if by.user_pk == user_id:
        raise Refused(_("You cannot do this for yourself. Another secretary has to."))
    missing = _("Say how you made sure that it is this person who asks.")
    reason = reasons.needed(reason, missing)
    with transaction.atomic():
        user = _active(user_id)
        Authenticator.objects.filter(user=user).delete()
        _end_all(user)
        append(
            by=by,
            action="user.steps_removed",
            subject=f"user:{user.subject_id}",
            reason=reason,
        )
        _tell(user, "steps-removed")
    return user


def end_sessions(*, by: Actor) -> User:
    """End all of a person's own sessions; the page keeps the one it is on."""
    with transaction.atomic():
        user = _active(by.user_pk)
        _end_all(user)
        append(by=by, action="user.sessions_ended", subject=f"user:{user.subject_id}")
    return user


def end_sessions_of(*, by: Actor, user_id: int) -> User:
    """End all sessions of another person: a telephone was stolen, a desk was left."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        user = _active(user_id)
        _end_all(user)
        append(by=by, action="user.sessions_ended", subject=f"user:{user.subject_id}")
    return user


def end_session(*, by: Actor, session_pk: int) -> None:
    """End one of a person's own sessions; raises NotFound for somebody else's."""
    with transaction.atomic():
        session = UserSession.objects.filter(pk=session_pk, user_id=by.user_pk).first()
        if session is None:
            raise NotFound(_("There is no such session."))
        session.end()
        append(by=by, action="user.session_ended", subject=f"user:{by.subject_id}")


def forget_ended_sessions() -> int:
    """Forget where people were signed in: browser and address go when the session has ended."""
    open_ones = Session.objects.filter(expire_date__gt=timezone.now()).values("session_key")
    ended = UserSession.objects.exclude(session_key__in=open_ones)
    return int(ended.delete()[0])


def leave_no_way_in(user: User) -> None:
    """Part of closing an account: no session, no second step, no password."""
    Authenticator.objects.filter(user=user).delete()
    user.set_unusable_password()
    user.save(update_fields=["password"])
    _end_all(user)


def _set_password(by: Actor, user: User, password: str) -> None:
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise Invalid([Problem("/password", message) for message in error.messages]) from error
    had_one = user.has_usable_password()
    user.set_password(password)
    user.save(update_fields=["password"])
    append(by=by, action="user.password", subject=f"user:{user.subject_id}")
    if had_one:
        _tell(user, "password")


def _end_all(user: User) -> None:
    """A new stamp makes every session of the person worthless; their rows go too."""
    user.session_stamp = random_id()
    user.save(update_fields=["session_stamp"])
    sessions = UserSession.objects.filter(user=user)
    Session.objects.filter(session_key__in=sessions.values("session_key")).delete()
    sessions.delete()


def _tell(user: User, what: Happening) -> None:
    detail = {"user": user.subject_id, "what": what}
    mail.queue(kind="sign-in-changed", to_email=user.email, detail=detail)


def _active(user_id: int | None) -> User:
    if user_id is None:
        raise NotFound(_("There is no such account."))
    user = User.objects.filter(pk=user_id, is_active=True).first()
    if user is None:
        raise NotFound(_("There is no such account."))
    return user
