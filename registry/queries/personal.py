"""What the registry holds on one person, everywhere it holds it: owners and people with accounts.

Found by who they are (their record), and by their words: a name or a mail address that stands in a
text. The secretary's pages show it, and the erasure goes through the same list.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from registry.models import (
    Announcement,
    Draft,
    Evaluation,
    Evidence,
    LedgerText,
    OutboxMail,
    Owner,
    ReplayKey,
    SecondLook,
    User,
)

_SHORTEST_WORDS = 4


@dataclass(frozen=True, slots=True)
class Held:
    """One thing held: what it is, where it leads to (a reference, a dog, an entry), and since
    when."""

    what: str
    text: str
    about: str
    at: datetime | None


@dataclass(frozen=True, slots=True)
class Words:
    """A person's own words: what identifies them wherever it stands."""

    name: str
    email: str
    login: str = ""

    def all(self) -> tuple[str, ...]:
        """Those long enough to be looked for in texts without finding everybody."""
        given = (self.name, self.email, self.login)
        return tuple(word for word in given if len(word.strip()) >= _SHORTEST_WORDS)


def owners_like(text: str, most: int = 50) -> list[Owner]:
    """Owners whose name or mail address contains the text."""
    wanted = text.strip()
    if not wanted:
        return []
    found = Owner.objects.filter(erased_at__isnull=True).filter(
        Q(full_name__icontains=wanted) | Q(email__icontains=wanted)
    )
    return list(found.order_by("full_name", "pk")[:most])


def words_of_owner(owner: Owner) -> Words:
    """What identifies an owner."""
    return Words(owner.full_name, owner.email)


def words_of_user(user: User) -> Words:
    """What identifies a person with an account."""
    return Words(user.full_name, user.email, user.username)


def held_of_owner(owner: Owner) -> list[Held]:
    """Everything that is held on an owner."""
    held = [Held("owner", f"{owner.full_name}, {owner.email}".strip(", "), "", owner.created_at)]
    held.extend(
        Held("result", evaluation.reference, evaluation.dog.name, evaluation.submitted_at)
        for evaluation in owner.evaluations.select_related("dog").order_by("submitted_at")
    )
    held.extend(held_in_words(words_of_owner(owner)))
    return held


def held_of_user(user: User) -> list[Held]:
    """Everything that is held on a person with an account."""
    text = ", ".join(filter(None, (user.full_name, user.username, user.email)))
    held = [Held("account", text, "", user.date_joined)]
    for membership in user.memberships.select_related("clinic").order_by("started_at"):
        held.append(Held("role", str(membership.get_role_display()), "", membership.started_at))
        held.extend(
            Held("token", token.name, token.prefix, token.created_at)
            for token in membership.tokens.all()
        )
    held.extend(held_in_words(words_of_user(user)))
    return held


def held_in_words(words: Words) -> Iterator[Held]:
    """Every text in which the person's words stand."""
    for mail in mails_with(words):
        yield Held("mail", mail.to_email, mail.kind, mail.created_at)
    for text in ledger_texts_with(words).select_related("entry"):
        yield Held("audit trail", text.text, f"{text.entry_id} {text.field}", text.entry.at)
    for evaluation in evaluations_with(words):
        where = evaluation.examiner if _is_in(words, evaluation.examiner) else evaluation.reason
        yield Held("text of a result", where, evaluation.reference, evaluation.submitted_at)
    for announced in announcements_with(words):
        yield Held(
            "reason of an announcement", announced.reason, announced.reference,
            announced.withdrawn_at,
        )  # fmt: skip
    for look in looks_with(words):
        yield Held("text of a result", look.reason, look.deed, look.asked_at)
    for draft in drafts_with(words):
        yield Held("draft", draft.public_id, "", draft.created_at)
    for evidence in evidence_with(words):
        yield Held("file name", evidence.original_name, evidence.public_id, evidence.uploaded_at)
    for key in answers_with(words):
        yield Held("kept answer", key.route, "", key.created_at)


def mails_with(words: Words) -> QuerySet[OutboxMail]:
    """Mails to the person, and mails whose reason names them."""
    return OutboxMail.objects.filter(_any(words, "to_email__iexact") | _in_json(words, "detail"))


def ledger_texts_with(words: Words) -> QuerySet[LedgerText]:
    """Texts beside the audit trail."""
    return LedgerText.objects.filter(_any(words, "text__icontains"))


def evaluations_with(words: Words) -> QuerySet[Evaluation]:
    """Results whose examiner or reason names the person."""
    return Evaluation.objects.filter(
        _any(words, "examiner__icontains") | _any(words, "reason__icontains")
    )


def announcements_with(words: Words) -> QuerySet[Announcement]:
    """Withdrawn announcements whose reason names the person."""
    return Announcement.objects.filter(_any(words, "reason__icontains"))


def looks_with(words: Words) -> QuerySet[SecondLook]:
    """Wishes of registrars whose reason names the person."""
    return SecondLook.objects.filter(_any(words, "reason__icontains"))


def drafts_with(words: Words) -> QuerySet[Draft]:
    """Drafts, sent or not, in whose answers the person's words stand."""
    return Draft.objects.filter(_in_json(words, "answers"))


def evidence_with(words: Words) -> QuerySet[Evidence]:
    """Files whose name was made of the person's words."""
    return Evidence.objects.filter(_any(words, "original_name__icontains"))


def answers_with(words: Words) -> QuerySet[ReplayKey]:
    """Answers kept for repeated requests."""
    return ReplayKey.objects.filter(_in_json(words, "answer"))


def _any(words: Words, lookup: str) -> Q:
    found = Q(pk__in=())
    for word in words.all():
        found |= Q(**{lookup: word})
    return found


def _in_json(words: Words, field: str) -> Q:
    """In a JSON column, which SQLite keeps with other letters than ASCII escaped."""
    found = _any(words, f"{field}__icontains")
    for word in words.all():
        found |= Q(**{f"{field}__icontains": json.dumps(word)[1:-1]})
    return found


def _is_in(words: Words, text: str) -> bool:
    return any(word.casefold() in text.casefold() for word in words.all())
