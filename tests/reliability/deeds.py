"""The deeds that faults are planted into: each with something fresh to do it on."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from typing import Any

from django.db import transaction

from registry.desk import (
    decide,
    dogs,
    drafts,
    evidence,
    merge,
    pedigree_import,
    personal,
    revoke,
    submit,
)
from registry.desk.log import publish_checkpoint
from registry.ledger import Actor, append
from registry.models import Evidence, Role
from tests.factories import (
    Club,
    make_accepted,
    make_body,
    make_dog,
    make_person,
    make_submitted,
)

JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF film"
_numbers = itertools.count(1)

Act = Callable[[], object]


@dataclass(frozen=True)
class Deed:
    """``prepare`` makes the subject and returns the act on it.

    ``action`` is the ledger entry that the act leaves once, ``mails`` the kinds of mail, and
    ``at_least`` how many statements there are to fail. ``leaves`` are tables that may grow before
    the act is done: what is in them is derived from entries, and true with or without it.
    """

    prepare: Callable[[Club], Act]
    action: str
    at_least: int
    mails: tuple[str, ...] = ()
    leaves: frozenset[str] = field(default_factory=frozenset)


def make_file(club: Club, draft_id: str | None = None) -> Evidence:
    """A film of the clinic's, no two alike."""
    content = JPEG + str(next(_numbers)).encode()
    return evidence.attach(
        by=club.nurse.actor, chunks=[content], name="hips.jpg", draft_id=draft_id
    )


def with_file(club: Club) -> dict[str, Any]:
    """The member of a body that names one film."""
    return {"evidence": [make_file(club).public_id]}


def an_upload(club: Club) -> Act:
    content = JPEG + str(next(_numbers)).encode()
    pieces = [content[:4], content[4:10], content[10:]]
    return partial(evidence.attach, by=club.nurse.actor, chunks=pieces, name="hips.jpg")


def a_file_taken_off(club: Club) -> Act:
    draft = drafts.start_draft(by=club.nurse.actor)
    film = make_file(club, draft.public_id)
    return partial(evidence.detach, by=club.nurse.actor, evidence_id=film.public_id)


def a_submission(club: Club) -> Act:
    body = make_body(make_dog(club), **with_file(club))
    return partial(submit.submit, by=club.nurse.actor, body=body)


def a_sent_draft(club: Club) -> Act:
    draft = drafts.start_draft(by=club.nurse.actor)
    make_file(club, draft.public_id)
    body = make_body(make_dog(club))
    drafts.save_draft(by=club.nurse.actor, draft_id=draft.public_id, version=1, answers=body)
    return partial(drafts.send_draft, by=club.nurse.actor, draft_id=draft.public_id)


def a_resubmission(club: Club) -> Act:
    dog = make_dog(club)
    returned = make_submitted(club, dog)
    decide.return_for_correction(
        by=club.registrar.actor, evaluation_id=returned.public_id, reason="which side is left?"
    )
    body = make_body(dog, left="0.29", **with_file(club))
    return partial(
        submit.resubmit, by=club.nurse.actor, evaluation_id=returned.public_id, body=body
    )


def an_acceptance(club: Club) -> Act:
    """Of a dog whose earlier result it replaces."""
    dog = make_dog(club)
    make_accepted(club, dog, examined_on="2025-05-05")
    waiting = make_submitted(club, dog, left="0.28", **with_file(club))
    return partial(
        decide.accept, by=club.registrar.actor, evaluation_id=waiting.public_id, reason="seen"
    )


def a_return(club: Club) -> Act:
    return partial(
        decide.return_for_correction,
        by=club.registrar.actor,
        evaluation_id=make_submitted(club).public_id,
        reason="which side is left?",
        fields=["/readings/0/value"],
    )


def a_refusal(club: Club) -> Act:
    return partial(
        decide.decline,
        by=club.registrar.actor,
        evaluation_id=make_submitted(club).public_id,
        reason="unreadable",
    )


def a_revocation(club: Club) -> Act:
    """Of a result whose predecessor counts again."""
    dog = make_dog(club)
    make_accepted(club, dog, examined_on="2025-05-05")
    newer = make_accepted(club, dog, left="0.28").evaluation
    asked = partial(revoke.revoke, evaluation_id=newer.public_id, reason="wrong dog")
    asked(by=club.second_registrar.actor)
    return partial(asked, by=club.registrar.actor)


def an_asked_revocation(club: Club) -> Act:
    """The first of the two registrars that it takes."""
    return partial(
        revoke.revoke,
        by=club.registrar.actor,
        evaluation_id=make_accepted(club).evaluation.public_id,
        reason="wrong dog",
    )


def a_replacement(club: Club) -> Act:
    old = make_accepted(club).evaluation
    readings = make_body(old.dog, left="0.33")["readings"]
    return partial(
        revoke.replace,
        by=club.registrar.actor,
        evaluation_id=old.public_id,
        changes={"readings": readings},
        reason="sides were swapped",
    )


def a_registration(club: Club) -> Act:
    facts = dogs.DogFacts(
        breed=club.breed.slug,
        name=f"Tarnfold Mira {next(_numbers)}",
        sex="F",
        born_on=date(2023, 1, 15),
        chip=f"27609{9_000_000_000 + next(_numbers)}",
        dam=make_dog(club, born_on=date(2018, 1, 15)).public_id,
    )
    return partial(dogs.register_dog, by=club.registrar.actor, facts=facts)


def a_merge(club: Club) -> Act:
    """Of two entries that have a counting result each."""
    keep, drop = make_dog(club), make_dog(club, chip="")
    make_accepted(club, keep, examined_on="2025-05-05")
    make_accepted(club, drop, left="0.28")
    return partial(
        merge.merge_dogs,
        by=club.registrar.actor,
        keep=keep.public_id,
        drop=drop.public_id,
        versions=None,
        reason="entered twice",
    )


def an_import(club: Club) -> Act:
    """Of three new dogs and one that is known, whose parents are filled in."""
    number = next(_numbers)
    known = make_dog(club)
    rows = (
        "key;name;sex;born_on;breed;chip;sire;dam",
        f"k1;Tarnfold Rolf {number};M;2018-01-01;{club.breed.slug};;;",
        f"k2;Tarnfold Ylva {number};F;2018-02-01;{club.breed.slug};;;",
        f"k3;Tarnfold Pip {number};M;2021-02-01;{club.breed.slug};;k1;k2",
        f";{known.name};F;2023-01-15;{club.breed.slug};{known.chip};k1;k2",
    )
    content = "\n".join(rows).encode()
    return partial(pedigree_import.commit, by=club.registrar.actor, content=content)


def an_erased_owner(club: Club) -> Act:
    name = f"Ottilie Ferngate {next(_numbers)}"
    owner = {"full_name": name, "email": f"ottilie.{next(_numbers)}@owner.example"}
    result = make_accepted(club, owner=owner).evaluation
    assert result.owner is not None
    return partial(personal.erase_owner, by=club.secretary.actor, owner_id=result.owner.public_id)


def an_erased_account(club: Club) -> Act:
    person = make_person(Role.REGISTRAR, by=club.secretary.actor, name=f"Ada {next(_numbers)} Fen")
    return partial(personal.erase_user, by=club.secretary.actor, user_id=person.user.pk)


def a_checkpoint(_club: Club) -> Act:
    """Of a tree with a full tile that is not stored yet."""
    with transaction.atomic():
        for number in range(260):
            append(by=Actor.system(), action="trial.made", subject=f"trial:{number}")
    return publish_checkpoint


DEEDS = {
    "upload": Deed(an_upload, "evidence.attached", 5),
    "file taken off": Deed(a_file_taken_off, "evidence.removed", 5),
    "submission": Deed(a_submission, "evaluation.submitted", 20),
    "sent draft": Deed(a_sent_draft, "evaluation.submitted", 20),
    "resubmission": Deed(a_resubmission, "evaluation.resubmitted", 20),
    "acceptance": Deed(an_acceptance, "evaluation.accepted", 20, ("accepted", "owner-result")),
    "return": Deed(a_return, "evaluation.returned", 8, ("returned",)),
    "refusal": Deed(a_refusal, "evaluation.declined", 8, ("declined",)),
    "revocation": Deed(a_revocation, "evaluation.revoked", 15, ("revoked", "owner-result")),
    "asked revocation": Deed(an_asked_revocation, "evaluation.second-look", 10),
    "replacement": Deed(a_replacement, "evaluation.replaced", 20, ("replaced", "owner-result")),
    "registration": Deed(a_registration, "dog.registered", 8),
    "merge": Deed(a_merge, "dog.merged", 25),
    "import": Deed(an_import, "pedigree.imported", 30),
    "erased owner": Deed(an_erased_owner, "owner.erased", 15),
    "erased account": Deed(an_erased_account, "user.erased", 15),
    "checkpoint": Deed(a_checkpoint, "", 5, (), frozenset({"registry_ledgertile"})),
}
