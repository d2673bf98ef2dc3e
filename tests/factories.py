"""Make what a test needs, through the same desk functions that pages and API call.

Each ``make_*`` takes what matters to the test and fills in the rest. The fixed cast is the same
everywhere:
a secretary, a registrar, a second registrar, a clinic's nurse and another clinic's nurse.
"""

from __future__ import annotations

import itertools
import json
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from allauth.mfa.adapter import get_adapter
from allauth.mfa.models import Authenticator
from django.conf import settings

from registry.desk import catalogue, decide, dogs, people, revoke, submit
from registry.desk.actor import Actor, actor_for
from registry.models import (
    Breed,
    Certificate,
    Clinic,
    Dog,
    Evaluation,
    Membership,
    Role,
    SecondLook,
    Trait,
    User,
)
from registry.queries.second_steps import NEEDS_SECOND_STEP

PASSWORD = "a quiet valley of 12 hounds"
# The key of everybody's authenticator app, 160 bits in base32.
APP_KEY = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"
_numbers = itertools.count(1)


@dataclass(frozen=True)
class Person:
    """A user with one role, and the actor they are."""

    user: User
    membership: Membership
    actor: Actor

    @property
    def login(self) -> str:
        return self.user.username


@dataclass(frozen=True)
class Club:
    """The fixed cast and one breed with the shipped traits."""

    secretary: Person
    registrar: Person
    second_registrar: Person
    nurse: Person
    other_nurse: Person
    clinic: Clinic
    other_clinic: Clinic
    breed: Breed


def make_club() -> Club:
    make_traits()
    secretary = make_first_secretary()
    clinic = make_clinic(by=secretary.actor)
    other_clinic = make_clinic(by=secretary.actor)
    return Club(
        secretary=secretary,
        registrar=make_person(Role.REGISTRAR, by=secretary.actor),
        second_registrar=make_person(Role.REGISTRAR, by=secretary.actor),
        nurse=make_person(Role.CLINIC, clinic=clinic, by=secretary.actor),
        other_nurse=make_person(Role.CLINIC, clinic=other_clinic, by=secretary.actor),
        clinic=clinic,
        other_clinic=other_clinic,
        breed=make_breed(),
    )


def make_traits() -> dict[str, Trait]:
    """The traits that ship."""
    shipped = json.loads((Path(settings.BASE_DIR) / "fixtures/traits.json").read_text("utf-8"))
    return {
        facts["slug"]: catalogue.save_trait(
            by=Actor.system(),
            slug=facts["slug"],
            facts={name: value for name, value in facts.items() if name != "slug"},
        )
        for facts in shipped
    }


def make_first_secretary() -> Person:
    number = next(_numbers)
    user = people.first_secretary(
        login=f"secretary.{number}",
        full_name=f"Secretary {number}",
        email=f"secretary.{number}@club.example",
        password=PASSWORD,
    )
    return _person(user.memberships.select_related("user", "clinic").get())


def make_person(role: Role, *, by: Actor, clinic: Clinic | None = None, name: str = "") -> Person:
    number = next(_numbers)
    user = people.open_account(
        by=by,
        login=f"{role}.{number}",
        full_name=name or f"{role.capitalize()} {number}",
        email=f"{role}.{number}@club.example",
        password=PASSWORD,
    )
    membership = people.appoint(
        by=by, user_id=user.pk, role=role, clinic_id=clinic.public_id if clinic else ""
    )
    return _person(membership)


def make_token(person: Person, *, by: Actor, scopes: list[str] | None = None) -> str:
    """A token's secret, with every scope its role may have unless told."""
    allowed = [scope for scope, roles in people.SCOPES.items() if person.actor.role in roles]
    return people.issue_token(
        by=by,
        membership_id=person.membership.pk,
        name="a test's program",
        scopes=scopes or allowed,
        days=30,
    ).secret


def make_clinic(*, by: Actor, name: str = "") -> Clinic:
    number = next(_numbers)
    return people.add_clinic(
        by=by,
        name=name or f"Clinic {number}",
        town="Tarnby",
        email=f"clinic.{number}@clinic.example",
    )


def make_breed(name: str = "") -> Breed:
    return catalogue.add_breed(by=Actor.system(), name=name or f"Tarn Spaniel {next(_numbers)}")


def make_chip() -> str:
    """A well-formed chip number no other call gave."""
    return f"27609{next(_numbers):010d}"


def make_dog(club: Club, *, by: Actor | None = None, **facts: Any) -> Dog:
    """A confirmed dog of the club's breed, grown up unless told; ``facts`` as in DogFacts."""
    given = dogs.DogFacts(
        breed=club.breed.slug,
        name=f"Tarnfold Juno {next(_numbers)}",
        sex="F",
        born_on=date(2023, 1, 15),
        chip=make_chip(),
        colour="brown",
    )
    return dogs.register_dog(by=by or club.registrar.actor, facts=replace(given, **facts))


def make_body(
    dog: Dog, *, left: str = "0.31", right: str = "0.35", **members: Any
) -> dict[str, Any]:
    """The REST body of an unremarkable laxity examination; ``members`` replace whole members."""
    return {
        "dog": {"id": dog.public_id},
        "examined_on": "2026-10-02",
        "examiner": "Dr. Vera Oakhollow",
        "conditions": {"restraint": "sedation", "chip_read": True, "weight_kg": "18.5"},
        "readings": [
            {"trait": "hip-laxity", "side": "left", "value": left},
            {"trait": "hip-laxity", "side": "right", "value": right},
        ],
        "owner": {"full_name": "Olga Reedmoor", "email": "olga@owner.example"},
        "consent_to_publish": True,
        **members,
    }


def make_submitted(club: Club, dog: Dog | None = None, **members: Any) -> Evaluation:
    """An evaluation of the club's clinic that waits for a decision."""
    return submit.submit(by=club.nurse.actor, body=make_body(dog or make_dog(club), **members))


def make_accepted(club: Club, dog: Dog | None = None, **members: Any) -> Certificate:
    """A certificate of an accepted evaluation."""
    evaluation = make_submitted(club, dog, **members)
    return accept_by_two(club, evaluation.public_id)


def accept_by_two(club: Club, evaluation_id: str) -> Certificate:
    """The certificate of a waiting evaluation; where a check says stop, two registrars accept."""
    done: Certificate | SecondLook | None = None
    for registrar in (club.registrar, club.second_registrar):
        done = decide.accept(by=registrar.actor, evaluation_id=evaluation_id, reason="looked at")
        if isinstance(done, Certificate):
            return done
    raise AssertionError(f"two registrars did not accept: {done}")


def make_revoked(club: Club, evaluation_id: str, *, reason: str = "wrong films") -> Evaluation:
    """A revoked evaluation: one registrar wishes it, the other carries it out."""
    revoke.revoke(by=club.registrar.actor, evaluation_id=evaluation_id, reason=reason)
    done = revoke.revoke(by=club.second_registrar.actor, evaluation_id=evaluation_id, reason=reason)
    assert isinstance(done, Evaluation)
    return done


def _person(membership: Membership) -> Person:
    """Registrars and secretaries have an authenticator app."""
    if membership.role in NEEDS_SECOND_STEP:
        key = get_adapter().encrypt(APP_KEY)
        Authenticator.objects.create(
            user=membership.user, type=Authenticator.Type.TOTP, data={"secret": key}
        )
    return Person(membership.user, membership, actor_for(membership, via="web"))
