"""The invented club's people: accounts, roles, clinics, tokens, opened as a secretary would.

Passwords and tokens are random each time and leave this module only in ``Access``; the file that
scripts read is written here too.
"""

from __future__ import annotations

import json
import os
import secrets
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from allauth.mfa.models import Authenticator

from registry.demo.words import PersonWords, Words
from registry.desk import people, sign_in
from registry.desk.actor import Actor, actor_for
from registry.models import ApiToken, Clinic, Membership, Role, User
from registry.queries.second_steps import NEEDS_SECOND_STEP

_SIGNS = "23456789abcdefghjkmnpqrstuvwxyz"
_TOKEN_DAYS = 365


@dataclass(frozen=True, slots=True)
class Login:
    """Who can sign in; ``clinic`` is the clinic's name or empty.

    ``app_key`` is the key of an authenticator app and ``codes`` are recovery codes, each good for
    one second step; clinics have neither.
    """

    role: str
    login: str
    password: str
    clinic: str = ""
    app_key: str = ""
    codes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Token:
    """A program's key; ``clinic`` is the clinic's name or empty."""

    role: str
    clinic: str
    token: str


@dataclass(frozen=True, slots=True)
class Access:
    """Everything a person or a script needs to use the trial club.

    ``breeder_page`` is the path of a breeder's page that is worth a look.
    """

    url: str
    users: tuple[Login, ...]
    tokens: tuple[Token, ...]
    breeder_page: str = ""

    def write(self, path: Path) -> None:
        """Write the file for scripts, whole or not at all, readable by its owner only."""
        users = [
            {name: value for name, value in asdict(user).items() if value} for user in self.users
        ]
        told = {
            "url": self.url,
            "users": users,
            "tokens": [asdict(token) for token in self.tokens],
            "breeder_page": self.breeder_page,
        }
        part = path.with_suffix(".part")
        part.unlink(missing_ok=True)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump(told, file, indent=1, ensure_ascii=False)
            file.write("\n")
        part.replace(path)

    @classmethod
    def read(cls, path: Path) -> Access:
        """Read the file again."""
        told = json.loads(path.read_text("utf-8"))
        return cls(
            url=told["url"],
            users=tuple(
                Login(**user | {"codes": tuple(user.get("codes", ()))}) for user in told["users"]
            ),
            tokens=tuple(Token(**token) for token in told["tokens"]),
            breeder_page=told.get("breeder_page", ""),
        )

    def at(self, url: str) -> Access:
        """The same for another address of the site."""
        return replace(self, url=url)


@dataclass(frozen=True, slots=True)
class Staff:
    """Who acts: by role, and for clinics by the clinic's key of the scenario."""

    secretary: Actor
    registrars: tuple[Actor, ...]
    clinics: dict[str, Actor]


def new_password() -> str:
    """Sixteen random signs in four groups, about 79 bits, easy to copy by hand."""
    return "-".join("".join(secrets.choice(_SIGNS) for _sign in range(4)) for _group in range(4))


def open_accounts(words: Words) -> tuple[Staff, list[Login]]:
    """Open the club: the first secretary, then clinics, further accounts and their roles."""
    logins: list[Login] = []
    first, *others = words.people
    password = new_password()
    user = people.first_secretary(
        login=first.login, full_name=first.full_name, email=first.email, password=password
    )
    logins.append(_login(user, first.role, password))
    secretary = _actor(user.memberships.get())

    clinics = {
        clinic.key: people.add_clinic(
            by=secretary, name=clinic.name, town=clinic.town, email=clinic.email
        )
        for clinic in words.clinics
    }
    registrars: list[Actor] = []
    at_clinics: dict[str, Actor] = {}
    for person in others:
        clinic = clinics.get(person.clinic)
        password = new_password()
        membership = _employ(secretary, person, clinic, password)
        actor = _actor(membership)
        if clinic is None:
            registrars.append(actor)
        else:
            at_clinics[person.clinic] = actor
        named = clinic.name if clinic else ""
        logins.append(_login(membership.user, person.role, password, named))
    return Staff(secretary, tuple(registrars), at_clinics), logins


def issue_tokens(words: Words, secretary: Actor) -> list[Token]:
    """New tokens as the scenario has them; earlier ones of the same name end."""
    tokens: list[Token] = []
    for wanted in words.tokens:
        membership = Membership.objects.select_related("clinic").get(
            user__username=wanted["login"], ended_at__isnull=True
        )
        for old in ApiToken.objects.filter(
            membership=membership, name=wanted["name"], revoked_at__isnull=True
        ):
            people.revoke_token(by=secretary, token_id=old.pk)
        role = Role(membership.role)
        issued = people.issue_token(
            by=secretary,
            membership_id=membership.pk,
            name=wanted["name"],
            scopes=[scope for scope, roles in people.SCOPES.items() if role in roles],
            days=_TOKEN_DAYS,
        )
        clinic = membership.clinic.name if membership.clinic else ""
        tokens.append(Token(str(role), clinic, issued.secret))
    return tokens


def renew_access(words: Words, url: str) -> Access:
    """New passwords for everybody of the scenario and new tokens; the old ones end."""
    first = words.people[0]
    secretary = _actor(Membership.objects.get(user__username=first.login, role=Role.SECRETARY))
    clinics = {clinic.key: clinic.name for clinic in words.clinics}
    logins = []
    for person in words.people:
        password = new_password()
        user = User.objects.get(username=person.login)
        sign_in.give_password(user_id=user.pk, password=password)
        logins.append(_login(user, person.role, password, clinics.get(person.clinic, "")))
    return Access(url, tuple(logins), tuple(issue_tokens(words, secretary)))


def _login(user: User, role: str, password: str, clinic: str = "") -> Login:
    """How the person signs in, with a new second step where their role asks for one."""
    if Role(role) not in NEEDS_SECOND_STEP:
        return Login(role, user.username, password, clinic)
    step = sign_in.give_second_step(user_id=user.pk)
    return Login(role, user.username, password, clinic, step.key, step.codes)


def unused_codes(of: Login) -> tuple[str, ...]:
    """The recovery codes that the person has not used yet."""
    kept = Authenticator.objects.filter(
        user__username=of.login, type=Authenticator.Type.RECOVERY_CODES
    ).first()
    return tuple(kept.wrap().get_unused_codes()) if kept else ()


def _employ(
    secretary: Actor, person: PersonWords, clinic: Clinic | None, password: str
) -> Membership:
    user = people.open_account(
        by=secretary,
        login=person.login,
        full_name=person.full_name,
        email=person.email,
        password=password,
    )
    return people.appoint(
        by=secretary,
        user_id=user.pk,
        role=Role(person.role),
        clinic_id=clinic.public_id if clinic else "",
    )


def _actor(membership: Membership) -> Actor:
    return actor_for(membership, via="command", request_id="demo")
