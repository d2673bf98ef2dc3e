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
    ApiToken,
    Clinic,
    Draft,
    Evaluation,
    Evidence,
    LedgerText,
    OutboxMail,
    Owner,
    PedigreeFile,
    ReplayKey,
    SecondLook,
    User,
)

_SHORTEST_WORDS = 4
_OWN_FIELDS = ("full_name", "email", "login")


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
    """A person's own words: what identifies them wherever it stands. ``former`` are those of
    before a correction."""

    name: str
    email: str
    login: str = ""
    former: tuple[str, ...] = ()

    def all(self) -> tuple[str, ...]:
        """Those long enough to be looked for in texts without finding everybody, the longest
        first: one may be a part of another."""
        long = {word for word in self._given() if len(word) >= _SHORTEST_WORDS}
        return tuple(sorted(long, key=lambda word: (-len(word), word)))

    def short(self) -> frozenset[str]:
        """The others, which are the person's only where they are the whole text."""
        return frozenset(word for word in self._given() if 0 < len(word) < _SHORTEST_WORDS)

    def _given(self) -> Iterator[str]:
        return (word.strip() for word in (self.name, self.email, self.login, *self.former))


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
    """What identifies an owner, and did before a correction."""
    former = _said_beside_the_trail(f"owner:{owner.public_id}")
    others = Owner.objects.exclude(pk=owner.pk)
    # What was put right may have been another one's name or address, and still is theirs.
    own = (word for word in former if not _is_held_by(others, word))
    return Words(owner.full_name, owner.email, former=tuple(own))


def words_of_user(user: User) -> Words:
    """What identifies a person with an account."""
    return Words(user.full_name, user.email, user.username)


def _said_beside_the_trail(subject: str) -> list[str]:
    """Names and addresses in the entries of a subject, each once."""
    fields = [f"{name}.{end}" for name in _OWN_FIELDS for end in ("from", "to")]
    texts = LedgerText.objects.filter(entry__subject=subject, field__in=fields)
    return sorted(set(texts.exclude(text="").values_list("text", flat=True)))


def _is_held_by(others: QuerySet[Owner], word: str) -> bool:
    """Whether an owner of ``others``, a person with an account or a clinic has this word today."""
    is_theirs = Q(full_name__iexact=word) | Q(email__iexact=word)
    return (
        others.filter(is_theirs).exists()
        or User.objects.filter(is_theirs).exists()
        or Clinic.objects.filter(email__iexact=word).exists()
    )


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
    held, words = [Held("account", text, "", user.date_joined)], words_of_user(user)
    for membership in user.memberships.select_related("clinic").order_by("started_at"):
        held.append(Held("role", str(membership.get_role_display()), "", membership.started_at))
        held.extend(
            Held("token", token.name, token.prefix, token.created_at)
            for token in membership.tokens.exclude(pk__in=tokens_with(words))
        )
    held.extend(held_in_words(words))
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
    for key in answers_with(words):
        yield Held("kept answer", key.route, "", key.created_at)
    yield from _held_in_names(words)


def _held_in_names(words: Words) -> Iterator[Held]:
    """Files and tokens whose name has the person's words."""
    for evidence in evidence_with(words):
        yield Held("file name", evidence.original_name, evidence.public_id, evidence.uploaded_at)
    for file in pedigree_files_with(words):
        yield Held("file name", file.name, file.public_id, file.sent_at)
    for token in tokens_with(words):
        yield Held("token", token.name, token.prefix, token.created_at)


def mails_with(words: Words) -> QuerySet[OutboxMail]:
    """Mails to the person, and mails whose reason names them."""
    to_them = Q(pk__in=())
    for word in words.all():
        to_them |= Q(to_email__iexact=word)
    return OutboxMail.objects.filter(to_them | _in_json(words, "detail"))


def ledger_texts_with(words: Words) -> QuerySet[LedgerText]:
    """Texts beside the audit trail."""
    return LedgerText.objects.filter(_any(words, "text"))


def evaluations_with(words: Words) -> QuerySet[Evaluation]:
    """Results whose examiner or reason names the person."""
    return Evaluation.objects.filter(_any(words, "examiner") | _any(words, "reason"))


def announcements_with(words: Words) -> QuerySet[Announcement]:
    """Withdrawn announcements whose reason names the person."""
    return Announcement.objects.filter(_any(words, "reason"))


def looks_with(words: Words) -> QuerySet[SecondLook]:
    """Wishes of registrars whose reason names the person."""
    return SecondLook.objects.filter(_any(words, "reason"))


def drafts_with(words: Words) -> QuerySet[Draft]:
    """Drafts, sent or not, in whose answers the person's words stand."""
    return Draft.objects.filter(_in_json(words, "answers"))


def evidence_with(words: Words) -> QuerySet[Evidence]:
    """Files whose name was made of the person's words."""
    return Evidence.objects.filter(_any(words, "original_name"))


def pedigree_files_with(words: Words) -> QuerySet[PedigreeFile]:
    """Files of pedigrees whose name was made of the person's words."""
    return PedigreeFile.objects.filter(_any(words, "name"))


def tokens_with(words: Words) -> QuerySet[ApiToken]:
    """Programs' tokens that are called by the person's words."""
    return ApiToken.objects.filter(_any(words, "name"))


def answers_with(words: Words) -> QuerySet[ReplayKey]:
    """Answers kept for repeated requests."""
    return ReplayKey.objects.filter(_in_json(words, "answer"))


def _any(words: Words, field: str) -> Q:
    """In a text: long words anywhere, short ones where they are all of it."""
    found = Q(pk__in=())
    for word in words.all():
        for spelt in _spellings(word):
            found |= Q(**{f"{field}__icontains": spelt})
    for word in words.short():
        found |= Q(**{f"{field}__iexact": word})
    return found


def _in_json(words: Words, field: str) -> Q:
    """In a JSON column, which SQLite keeps with other letters than ASCII escaped; there a short
    word is one between quotation marks."""
    found = Q(pk__in=())
    for word in words.all():
        for spelt in _spellings(word):
            found |= Q(**{f"{field}__icontains": spelt})
            found |= Q(**{f"{field}__icontains": json.dumps(spelt)[1:-1]})
    for word in words.short():
        found |= Q(**{f"{field}__icontains": f'"{word}"'})
        found |= Q(**{f"{field}__icontains": json.dumps(word)})
    return found


def _spellings(word: str) -> set[str]:
    """The word as it is, and in small and capital letters: SQLite knows of ASCII letters only
    which ones belong together."""
    return {word, word.lower(), word.upper()}


def _is_in(words: Words, text: str) -> bool:
    folded = text.casefold()
    return any(word.casefold() in folded for word in words.all()) or folded in {
        word.casefold() for word in words.short()
    }
