"""Accounts, clinics, memberships and API tokens, managed by the secretary.

The ledger names people by their random ids; names and addresses enter it as commitments only.
"""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta
from typing import NamedTuple

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from registry import clock
from registry.desk import sign_in
from registry.desk.actor import Actor, require_role
from registry.desk.errors import Conflict, Invalid, NotFound, Problem, Refused
from registry.ledger import Change, append
from registry.models import ApiToken, Clinic, Membership, Role, User

SCOPES: dict[str, tuple[Role, ...]] = {
    "dogs:read": (Role.CLINIC, Role.REGISTRAR, Role.SECRETARY),
    "dogs:write": (Role.CLINIC, Role.REGISTRAR, Role.SECRETARY),
    "evaluations:read": (Role.CLINIC, Role.REGISTRAR),
    "evaluations:write": (Role.CLINIC,),
    "decisions:write": (Role.REGISTRAR,),
    "breeding:write": (Role.REGISTRAR, Role.SECRETARY),
}
LONGEST_TOKEN_DAYS = 400
_TOUCH_EVERY = timedelta(minutes=5)


class IssuedToken(NamedTuple):
    """A token just made; ``secret`` is shown once and kept nowhere."""

    token: ApiToken
    secret: str


def first_secretary(*, login: str, full_name: str, email: str, password: str) -> User:
    """The first account of a new registry; refused once there is any secretary."""
    with transaction.atomic():
        if Membership.objects.filter(role=Role.SECRETARY, ended_at__isnull=True).exists():
            raise Refused(_("There is a secretary already. They open further accounts."))
        by = Actor.system()
        user = _open(by, login, full_name, email, password)
        _appoint(by, user, Role.SECRETARY, None)
    return user


def open_account(*, by: Actor, login: str, full_name: str, email: str, password: str) -> User:
    """Open an account with a password that is known, as a trial does; it can do nothing until it is
    given a role."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        return _open(by, login, full_name, email, password)


def invite(
    *, by: Actor, login: str, full_name: str, email: str, role: Role, clinic_id: str = ""
) -> User:
    """Open an account with a role, and mail the person a link to choose their own password."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        clinic = _clinic_for(role, clinic_id)
        user = _open(by, login, full_name, email, None)
        _appoint(by, user, role, clinic)
        sign_in.queue_link(user)
    return user


def close_account(*, by: Actor, user_id: int) -> User:
    """End all roles, tokens and sessions of a person at once, and refuse further sign-ins."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        user = User.objects.filter(pk=user_id).first()
        if user is None:
            raise NotFound(_("There is no such account."))
        if user.pk == by.user_pk:
            raise Refused(_("You cannot close your own account. Another secretary has to do it."))
        _keep_a_secretary(without=list(user.memberships.values_list("pk", flat=True)))
        for membership in user.memberships.filter(ended_at__isnull=True):
            _end(by, membership)
        sign_in.leave_no_way_in(user)
        user.is_active = False
        user.save(update_fields=["is_active"])
        append(
            by=by,
            action="user.closed",
            subject=f"user:{user.subject_id}",
            changes={"is_active": Change(True, False)},
        )
    return user


def add_clinic(*, by: Actor, name: str, town: str = "", email: str = "") -> Clinic:
    """Add a clinic that may submit."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        values = _clinic_values(name, town, email)
        try:
            with transaction.atomic():
                clinic = Clinic.objects.create(**values)
        except IntegrityError as error:
            raise Invalid.one("/name", _("There is a clinic of this name already.")) from error
        append(
            by=by,
            action="clinic.added",
            subject=f"clinic:{clinic.public_id}",
            changes={"name": Change(None, clinic.name), "town": Change(None, clinic.town)},
            personal={"email": Change(None, clinic.email)},
        )
    return clinic


def change_clinic(
    *, by: Actor, clinic_id: str, name: str, town: str, email: str, is_active: bool
) -> Clinic:
    """Change a clinic's entry; an inactive clinic may not submit, and keeps all it sent."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        clinic = Clinic.objects.select_for_update().filter(public_id=clinic_id).first()
        if clinic is None:
            raise NotFound(_("There is no such clinic."))
        values = {**_clinic_values(name, town, email), "is_active": is_active}
        changes = {
            field: Change(getattr(clinic, field), value)
            for field, value in values.items()
            if getattr(clinic, field) != value
        }
        for field, value in values.items():
            setattr(clinic, field, value)
        try:
            with transaction.atomic():
                clinic.save()
        except IntegrityError as error:
            raise Invalid.one("/name", _("There is a clinic of this name already.")) from error
        personal = {"email": changes.pop("email")} if "email" in changes else None
        append(
            by=by,
            action="clinic.changed",
            subject=f"clinic:{clinic.public_id}",
            changes=changes,
            personal=personal,
        )
    return clinic


def appoint(*, by: Actor, user_id: int, role: Role, clinic_id: str = "") -> Membership:
    """Give a person a role; a clinic role names its clinic."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        user = User.objects.filter(pk=user_id, is_active=True).first()
        if user is None:
            raise NotFound(_("There is no such account."))
        return _appoint(by, user, role, _clinic_for(role, clinic_id))


def end_membership(*, by: Actor, membership_id: int) -> Membership:
    """End a role; its tokens end with it at once."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        membership = (
            Membership.objects.select_related("user", "clinic").filter(pk=membership_id).first()
        )
        if membership is None:
            raise NotFound(_("There is no such role."))
        if membership.ended_at is None:
            _keep_a_secretary(without=[membership.pk])
            _end(by, membership)
    return membership


def issue_token(
    *, by: Actor, membership_id: int, name: str, scopes: list[str], days: int
) -> IssuedToken:
    """Make a token for a role. The secret is returned once; only its digest is stored."""
    require_role(by, Role.SECRETARY)
    problems: list[Problem] = []
    name = " ".join(name.split())
    if not name or len(name) > 80:
        problems.append(Problem("/name", _("Say in up to 80 characters what the token is for.")))
    if not 1 <= days <= LONGEST_TOKEN_DAYS:
        problems.append(
            Problem("/days", _("Choose 1 to %(most)d days.") % {"most": LONGEST_TOKEN_DAYS})
        )
    with transaction.atomic():
        membership = (
            Membership.objects.select_related("user", "clinic")
            .filter(pk=membership_id, ended_at__isnull=True)
            .first()
        )
        if membership is None:
            raise NotFound(_("There is no such role."))
        allowed = [scope for scope, roles in SCOPES.items() if membership.role in roles]
        if not scopes or set(scopes) - set(allowed):
            problems.append(
                Problem("/scopes", _("Choose from: %(scopes)s.") % {"scopes": ", ".join(allowed)})
            )
        if problems:
            raise Invalid(problems)
        secret = "sl_" + secrets.token_urlsafe(32)
        token = ApiToken.objects.create(
            name=name,
            digest=digest_of(secret),
            prefix=secret[3:9],
            membership=membership,
            scopes=sorted(scopes),
            expires_at=clock.now() + timedelta(days=days),
        )
        append(
            by=by,
            action="token.issued",
            subject=f"token:{token.prefix}",
            changes={
                "membership": Change(None, f"{membership.user.subject_id}:{membership.role}"),
                "scopes": Change(None, token.scopes),
                "expires_at": Change(None, token.expires_at),
            },
            personal={"name": Change(None, name)},
        )
    return IssuedToken(token, secret)


def revoke_token(*, by: Actor, token_id: int) -> ApiToken:
    """End a token now."""
    require_role(by, Role.SECRETARY)
    with transaction.atomic():
        token = ApiToken.objects.filter(pk=token_id).first()
        if token is None:
            raise NotFound(_("There is no such token."))
        if token.revoked_at is None:
            token.revoked_at = clock.now()
            token.save(update_fields=["revoked_at"])
            append(
                by=by,
                action="token.revoked",
                subject=f"token:{token.prefix}",
                changes={"revoked_at": Change(None, token.revoked_at)},
            )
    return token


def note_use(*, token: ApiToken, at: datetime) -> None:
    """Remember when a token was last used, at most every five minutes. No entry: it changes
    nothing."""
    if token.last_used_at is None or at - token.last_used_at > _TOUCH_EVERY:
        ApiToken.objects.filter(pk=token.pk).update(last_used_at=at)


def digest_of(secret: str) -> str:
    """What is stored of a token. The secret is 256 random bits, so a plain SHA-256 cannot be
    guessed back."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _clinic_for(role: Role, clinic_id: str) -> Clinic | None:
    if role != Role.CLINIC:
        return None
    clinic = Clinic.objects.filter(public_id=clinic_id).first() if clinic_id else None
    if clinic is None:
        raise Invalid.one("/clinic", _("Choose the clinic this person works for."))
    return clinic


def _open(by: Actor, login: str, full_name: str, email: str, password: str | None) -> User:
    """With no password the account waits for its person to choose one."""
    login, full_name = login.strip().lower(), " ".join(full_name.split())
    problems: list[Problem] = []
    if not 3 <= len(login) <= 60 or not all(sign.isalnum() or sign in "._-@+" for sign in login):
        problems.append(
            Problem("/login", _("Choose 3 to 60 letters, digits, dots or dashes for the login."))
        )
    elif User.objects.filter(username__iexact=login).exists():
        problems.append(Problem("/login", _("This login is taken. Choose another.")))
    if not full_name or len(full_name) > 120:
        problems.append(Problem("/full_name", _("Enter the person's name, up to 120 characters.")))
    try:
        validate_email(email)
    except ValidationError:
        problems.append(Problem("/email", _("Enter a mail address like name@example.org.")))
    if problems:
        raise Invalid(problems)
    user = User(username=login, full_name=full_name, email=email)
    if password is not None:
        _check_password(password, user)
    user.set_password(password)
    try:
        with transaction.atomic():
            user.save()
    except IntegrityError as error:
        raise Conflict(_("This login was taken just now. Choose another.")) from error
    append(
        by=by,
        action="user.opened",
        subject=f"user:{user.subject_id}",
        personal={
            "login": Change(None, login),
            "full_name": Change(None, full_name),
            "email": Change(None, email),
        },
    )
    return user


def _check_password(password: str, user: User) -> None:
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise Invalid([Problem("/password", message) for message in error.messages]) from error


def _appoint(by: Actor, user: User, role: Role, clinic: Clinic | None) -> Membership:
    try:
        with transaction.atomic():
            membership = Membership.objects.create(user=user, role=role, clinic=clinic)
    except IntegrityError as error:
        raise Conflict(_("This person has this role already.")) from error
    append(
        by=by,
        action="membership.started",
        subject=f"user:{user.subject_id}",
        changes={
            "role": Change(None, role),
            "clinic": Change(None, clinic.public_id if clinic else None),
        },
    )
    return membership


def _end(by: Actor, membership: Membership) -> None:
    membership.ended_at = clock.now()
    membership.save(update_fields=["ended_at"])
    membership.tokens.filter(revoked_at__isnull=True).update(revoked_at=membership.ended_at)
    append(
        by=by,
        action="membership.ended",
        subject=f"user:{membership.user.subject_id}",
        changes={
            "role": Change(membership.role, None),
            "clinic": Change(membership.clinic.public_id if membership.clinic else None, None),
        },
    )


def _keep_a_secretary(*, without: list[int]) -> None:
    """Refuse to end the last secretary's role, also when two secretaries end each other's at
    once."""
    held = Membership.objects.select_for_update().filter(role=Role.SECRETARY, ended_at__isnull=True)
    secretaries = set(held.order_by("pk").values_list("pk", flat=True))
    if secretaries and secretaries <= set(without):
        raise Refused(_("This is the last secretary. Appoint another one first."))


def _clinic_values(name: str, town: str, email: str) -> dict[str, str]:
    name, town, email = " ".join(name.split()), " ".join(town.split()), email.strip()
    problems: list[Problem] = []
    if not name or len(name) > 120:
        problems.append(Problem("/name", _("Enter the clinic's name, up to 120 characters.")))
    if len(town) > 80:
        problems.append(Problem("/town", _("Shorten this to %(most)d characters.") % {"most": 80}))
    if email:
        try:
            validate_email(email)
        except ValidationError:
            problems.append(Problem("/email", _("Enter a mail address like name@example.org.")))
    if problems:
        raise Invalid(problems)
    return {"name": name, "town": town, "email": email}
