"""Hold accounts, roles and programs' tokens against the ledger: who may do what today, and what the
entries say was given and ended. Writes nothing; the ledger is the witness.

Passwords, second steps and the digests of tokens are in no entry, and are not compared.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from registry.ledger.append import plain
from registry.ledger.damage import Damage
from registry.models import ApiToken, LedgerEntry, Membership, User

Held = tuple[str, str, str | None]
"""A role: the person's random id, the role, the clinic's public id or None."""


@dataclass(slots=True)
class _Said:
    """What all entries together say: each person with whether the account is open, each role with
    whether it stands, each token with its values and whether it was revoked; with the entry."""

    people: dict[str, tuple[bool, int]] = field(default_factory=dict)
    roles: dict[Held, tuple[bool, int]] = field(default_factory=dict)
    tokens: dict[str, tuple[dict[str, Any], int]] = field(default_factory=dict)
    revoked: dict[str, int] = field(default_factory=dict)


def check_office() -> Iterator[Damage]:
    """Every account, role and token; a damage names the entry that says otherwise."""
    said = _said()
    yield from _check_people(said)
    yield from _check_roles(said)
    yield from _check_tokens(said)


def _said() -> _Said:
    said = _Said()
    actions = (
        "user.opened", "user.closed", "membership.started", "membership.ended",
        "token.issued", "token.revoked",
    )  # fmt: skip
    entries = LedgerEntry.objects.filter(action__in=actions).order_by("seq")
    for seq, action, subject, body in entries.values_list("seq", "action", "subject", "body"):
        who, values = subject.partition(":")[2], json.loads(body)["values"]
        kind, _dot, deed = action.partition(".")
        if kind == "user":
            said.people[who] = (deed == "opened", seq)
        elif kind == "membership":
            end = "to" if deed == "started" else "from"
            held = (who, values["role"][end], values["clinic"][end])
            said.roles[held] = (deed == "started", seq)
        elif deed == "issued":
            said.tokens[who] = ({name: change["to"] for name, change in values.items()}, seq)
        else:
            said.revoked[who] = seq
    return said


def _check_people(said: _Said) -> Iterator[Damage]:
    found = dict(User.objects.values_list("subject_id", "is_active"))
    for person in sorted(found.keys() - said.people.keys()):
        yield Damage(0, "account", "added", f"the account {person} is in no entry of the ledger")
    for person, (is_open, seq) in sorted(said.people.items()):
        if person not in found:
            yield Damage(seq, "account", "missing", f"entry {seq}: the account {person} is missing")
        elif found[person] != is_open:
            word = "closed" if is_open else "open"
            text = f"the account {person} is {word}; that is not what entry {seq} says"
            yield Damage(seq, "account", "edited", text)


def _check_roles(said: _Said) -> Iterator[Damage]:
    rows = Membership.objects.filter(ended_at__isnull=True)
    found = set(rows.values_list("user__subject_id", "role", "clinic__public_id"))
    stated = {held for held, (stands, _seq) in said.roles.items() if stands}
    for held in sorted(found ^ stated, key=str):
        seq = said.roles.get(held, (False, 0))[1]
        person, role, clinic = held
        of = f" of clinic {clinic}" if clinic else ""
        what = f"the role {role}{of} of person {person}"
        if held in stated:
            yield Damage(seq, "role", "missing", f"entry {seq}: {what} is missing")
        elif seq:
            yield Damage(seq, "role", "edited", f"{what} stands, and entry {seq} has ended it")
        else:
            yield Damage(0, "role", "added", f"{what} is in no entry of the ledger")


def _check_tokens(said: _Said) -> Iterator[Damage]:
    """Tokens that stand; one that ended gives no access."""
    rows = ApiToken.objects.filter(revoked_at__isnull=True).select_related("membership__user")
    for token in rows.order_by("pk"):
        if token.prefix not in said.tokens:
            text = f"the token {token.prefix} is in no entry of the ledger"
            yield Damage(0, "token", "added", text)
            continue
        values, seq = said.tokens[token.prefix]
        found = {
            "membership": f"{token.membership.user.subject_id}:{token.membership.role}",
            "scopes": token.scopes,
            "expires_at": plain(token.expires_at),
        }
        for name in sorted(name for name in found if found[name] != values[name]):
            text = f"token {token.prefix}: {name} is not what entry {seq} says"
            yield Damage(seq, f"token {name}", "edited", text)
        if seq < said.revoked.get(token.prefix, 0):
            seq = said.revoked[token.prefix]
            text = f"the token {token.prefix} stands, and entry {seq} has ended it"
            yield Damage(seq, "token", "edited", text)
