"""Nobody decides where they have an interest of their own: every path by every kind of tie, and the
same paths open to a registrar without one."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from registry.desk import decide, people, revoke, submit
from registry.desk.actor import actor_for
from registry.desk.dogs import DogFacts, correct_dog
from registry.desk.errors import Refused
from registry.desk.ties import ties_of
from registry.models import (
    Certificate,
    Dog,
    Evaluation,
    LedgerEntry,
    Owner,
    Role,
    SecondLook,
)
from tests.api.conftest import Caller
from tests.factories import (
    Club,
    Person,
    accept_by_two,
    make_accepted,
    make_body,
    make_club,
    make_dog,
    make_person,
    make_submitted,
    make_token,
)

pytestmark = pytest.mark.django_db

BORN, STRANGER = date(2023, 1, 15), {"full_name": "Somebody Else", "email": "else@owner.example"}
REASON = "looked at the films again"


def own(person: Person) -> dict[str, str]:
    """The registrar as an owner, the address written as people write it."""
    return {"full_name": "R. Own", "email": person.user.email.upper()}


class Ties:
    """A club, a registrar with one kind of tie, and results that the tie is about."""

    def __init__(self, kind: str) -> None:
        self.club: Club = make_club()
        self.kind = kind
        self.person = make_person(Role.REGISTRAR, by=self.club.secretary.actor)
        if kind == "own clinic":
            self._appoint()

    def waiting(self, **members: Any) -> Evaluation:
        """A result that waits, tied as the kind says; a second litter each time."""
        make: Callable[[dict[str, Any]], Evaluation] = getattr(
            self, f"_{self.kind.replace(' ', '_').replace(chr(39), '')}", self._plain
        )
        return make(members)

    def accepted(self) -> Evaluation:
        """The same, accepted by registrars without a tie."""
        evaluation = self.waiting()
        accept_by_two(self.club, evaluation.public_id)
        return evaluation

    def _appoint(self) -> int:
        membership = people.appoint(
            by=self.club.secretary.actor,
            user_id=self.person.user.pk,
            role=Role.CLINIC,
            clinic_id=self.club.clinic.public_id,
        )
        return membership.pk

    def _sent(self, dog: Dog, members: dict[str, Any], **more: Any) -> Evaluation:
        return make_submitted(self.club, dog, **{"owner": STRANGER, **more, **members})

    def _plain(self, members: dict[str, Any]) -> Evaluation:
        return self._sent(make_dog(self.club), members)

    def _own_submission(self, members: dict[str, Any]) -> Evaluation:
        pk = self._appoint()
        membership = self.person.user.memberships.select_related("user", "clinic").get(pk=pk)
        body = make_body(make_dog(self.club), **{"owner": STRANGER, **members})
        evaluation = submit.submit(by=actor_for(membership, via="web"), body=body)
        people.end_membership(by=self.club.secretary.actor, membership_id=pk)
        return evaluation

    def _own_dog_by_account(self, members: dict[str, Any]) -> Evaluation:
        evaluation = self._plain(members)
        Owner.objects.filter(evaluations=evaluation).update(user=self.person.user)
        return evaluation

    def _own_dog_by_address(self, members: dict[str, Any]) -> Evaluation:
        return self._sent(make_dog(self.club), members, owner=own(self.person))

    def _own_dog_at_an_earlier_exam(self, members: dict[str, Any]) -> Evaluation:
        dog = make_dog(self.club)
        earlier = make_submitted(self.club, dog, owner=own(self.person), examined_on="2025-01-10")
        decide.decline(
            by=self.club.registrar.actor, evaluation_id=earlier.public_id, reason="unreadable"
        )
        return self._sent(dog, members)

    def _own_sire(self, members: dict[str, Any]) -> Evaluation:
        return self._sent(self._young(self._owned(sex="M"), None), members)

    def _own_dam(self, members: dict[str, Any]) -> Evaluation:
        return self._sent(self._young(None, self._owned()), members)

    def _own_dam_by_account(self, members: dict[str, Any]) -> Evaluation:
        dam = self._old()
        examined = make_submitted(self.club, dam, owner=STRANGER)
        Owner.objects.filter(evaluations=examined).update(user=self.person.user)
        return self._sent(self._young(None, dam), members)

    def _own_litter_mate(self, members: dict[str, Any]) -> Evaluation:
        sire, dam = self._old(sex="M"), self._old()
        make_submitted(self.club, self._young(sire, dam), owner=own(self.person))
        return self._sent(self._young(sire, dam), members)

    def _own_offspring(self, members: dict[str, Any]) -> Evaluation:
        dam = self._old()
        make_submitted(self.club, self._young(None, dam), owner=own(self.person))
        return self._sent(dam, members)

    def _old(self, sex: str = "F") -> Dog:
        return make_dog(self.club, sex=sex, born_on=date(2019, 5, 4))

    def _owned(self, sex: str = "F") -> Dog:
        dog = self._old(sex)
        make_submitted(self.club, dog, owner=own(self.person))
        return dog

    def _young(self, sire: Dog | None, dam: Dog | None, born_on: date = BORN) -> Dog:
        return make_dog(
            self.club,
            sire=sire.public_id if sire else "",
            dam=dam.public_id if dam else "",
            born_on=born_on,
        )


KINDS = (
    "own submission",
    "own clinic",
    "own dog by account",
    "own dog by address",
    "own dog at an earlier exam",
    "own sire",
    "own dam",
    "own dam by account",
    "own litter mate",
    "own offspring",
)


@dataclass
class Faces:
    """The registrar at the pages, and a program of theirs at the interface."""

    page: Client
    program: Caller


@dataclass(frozen=True)
class Way:
    """One way to decide: the state the result is in first, and the deed, which answers the words
    of a refusal, or none."""

    name: str
    before: str
    go: Callable[[Faces, Evaluation], str]


def _page(name: str, **data: str) -> Callable[[Faces, Evaluation], str]:
    def go(faces: Faces, evaluation: Evaluation) -> str:
        there = reverse(f"registrar:{name}", args=[evaluation.public_id])
        return _refusal(faces.page.post(there, data), refused=409)

    return go


def _replace_page(faces: Faces, evaluation: Evaluation) -> str:
    there = reverse("registrar:replace", args=[evaluation.public_id])
    data = faces.page.get(there).context["form"].initial | {"reason": REASON}
    form = faces.page.get(there).context["form"]
    data |= {name: field.initial for name, field in form.fields.items() if name[:4] == "read"}
    return _refusal(faces.page.post(there, data), refused=409)


def _together_page(faces: Faces, evaluation: Evaluation) -> str:
    there = reverse("registrar:approved-together")
    page = faces.page.post(there, {"chosen": [evaluation.public_id]}).content.decode()
    return "" if "1 approved, 0 left" in page else page


def _leave_page(faces: Faces, evaluation: Evaluation) -> str:
    look = SecondLook.objects.get(evaluation=evaluation, settled_at=None)
    there = reverse("registrar:leave", args=[look.public_id])
    return _refusal(faces.page.post(there, {"reason": REASON}), refused=409)


def _program(path: str, **body: Any) -> Callable[[Faces, Evaluation], str]:
    def go(faces: Faces, evaluation: Evaluation) -> str:
        answer = faces.program.send(f"evaluations/{evaluation.public_id}/{path}", body)
        return _refusal(answer, refused=403)

    return go


def _together_program(faces: Faces, evaluation: Evaluation) -> str:
    answer = faces.program.send("acceptances", {"evaluations": [evaluation.public_id]})
    (outcome,) = answer.json()["outcomes"]
    return "" if outcome["certificate"] else str(outcome["why_left"])


def _refusal(answer: Any, *, refused: int) -> str:
    assert answer.status_code in (200, 201, 302, refused), answer.content
    return answer.content.decode() if answer.status_code == refused else ""


NEW = [{"trait": "hip-laxity", "side": side, "value": "0.40"} for side in ("left", "right")]
WAYS = (
    Way("approve, page", "waiting", _page("approve")),
    Way("return, page", "waiting", _page("return", reason=REASON)),
    Way("decline, page", "waiting", _page("decline", reason=REASON)),
    Way("approve together, page", "waiting", _together_page),
    Way("wish to approve over a stop, page", "stopped", _page("approve", reason=REASON)),
    Way("approve over a stop, page", "stopped and wished", _page("approve", reason=REASON)),
    Way("wish to revoke, page", "accepted", _page("revoke", reason=REASON)),
    Way("revoke, page", "accepted and wished", _page("revoke", reason=REASON)),
    Way("leave it unrevoked, page", "accepted and wished", _leave_page),
    Way("replace, page", "accepted", _replace_page),
    Way("approve, program", "waiting", _program("decision", decision="accept")),
    Way("return, program", "waiting", _program("decision", decision="return", reason=REASON)),
    Way("decline, program", "waiting", _program("decision", decision="decline", reason=REASON)),
    Way("approve together, program", "waiting", _together_program),
    Way("wish to approve over a stop, program", "stopped",
        _program("decision", decision="accept", reason=REASON)),
    Way("approve over a stop, program", "stopped and wished",
        _program("decision", decision="accept", reason=REASON)),
    Way("wish to revoke, program", "accepted", _program("revocation", reason=REASON)),
    Way("revoke, program", "accepted and wished", _program("revocation", reason=REASON)),
    Way("replace, program", "accepted", _program("replacement", reason=REASON, readings=NEW)),
)  # fmt: skip


def made(ties: Ties, before: str) -> Evaluation:
    """A result in the state from which the deed starts; wishes are another registrar's."""
    by = ties.club.second_registrar.actor
    if before.startswith("accepted"):
        evaluation = ties.accepted()
        if before.endswith("wished"):
            revoke.revoke(by=by, evaluation_id=evaluation.public_id, reason=REASON)
        return evaluation
    if before == "waiting":
        return ties.waiting()
    # An exam long before the dog is old enough: a check says stop.
    young = "2019-06-01" if ties.kind == "own offspring" else "2023-03-01"
    evaluation = ties.waiting(examined_on=young)
    assert evaluation.flags.filter(level="stop").exists()
    if before.endswith("wished"):
        decide.accept(by=by, evaluation_id=evaluation.public_id, reason=REASON)
    return evaluation


def faces_of(ties: Ties) -> Faces:
    page = Client()
    page.force_login(ties.person.user)
    return Faces(page, Caller(make_token(ties.person, by=ties.club.secretary.actor)))


def everything() -> tuple[list[Any], int, int, int]:
    """What a decision would change."""
    return (
        list(Evaluation.objects.order_by("pk").values_list("state", "version", "decided_by")),
        Certificate.objects.count(),
        SecondLook.objects.filter(settled_at=None).count(),
        LedgerEntry.objects.count(),
    )


def test_there_are_more_than_forty_cases() -> None:
    assert len(WAYS) * len(KINDS) >= 190


@pytest.mark.parametrize("kind", KINDS)
def test_every_way_is_refused_in_words_noted_and_changes_nothing(
    kind: str, caplog: pytest.LogCaptureFixture
) -> None:
    ties = Ties(kind)
    results = [(way, made(ties, way.before)) for way in WAYS]
    faces = faces_of(ties)
    before = everything()

    said = {}
    with caplog.at_level(logging.WARNING, logger="registry.desk.ties"):
        for way, evaluation in results:
            said[way.name] = way.go(faces, evaluation)

    decides = "Another registrar has to decide"
    assert [name for name, words in said.items() if decides not in words] == []
    assert everything() == before
    noted = [record for record in caplog.records if record.name == "registry.desk.ties"]
    assert len(noted) == len(WAYS)
    assert {record.args[2] for record in noted if isinstance(record.args, tuple)} == {
        ties.person.user.subject_id
    }


def test_the_same_ways_are_open_to_one_without_a_tie() -> None:
    ties = Ties("nothing")
    results = [(way, made(ties, way.before)) for way in WAYS]
    faces = faces_of(ties)

    refused = {way.name: words for way, result in results if (words := way.go(faces, result))}

    assert refused == {}


class TestWhoIsNoFamily:
    """A tie is close: what lies further away is no reason to send a registrar off."""

    def test_half_brothers_other_litters_grandparents_and_other_owners(self) -> None:
        ties = Ties("nothing")
        club, person = ties.club, ties.person
        sire, dam = ties._old("M"), ties._old()
        grandam = make_dog(club, born_on=date(2015, 5, 4))
        mother = make_dog(club, born_on=date(2019, 5, 4), dam=grandam.public_id)
        for dog in (ties._young(sire, None), ties._young(sire, dam, date(2021, 1, 15)), grandam):
            make_submitted(club, dog, owner=own(person))
        far = [
            make_submitted(club, dog, owner=STRANGER)
            for dog in (ties._young(sire, dam), ties._young(None, mother))
        ]

        assert ties_of(person.actor, [each.pk for each in far]) == {}

    def test_an_owner_without_an_address_is_nobodys(self) -> None:
        ties = Ties("nothing")
        evaluation = make_submitted(ties.club, owner={"full_name": "No Address"})
        type(ties.person.user).objects.filter(pk=ties.person.user.pk).update(email="")

        assert ties_of(ties.person.actor, [evaluation.pk]) == {}


def test_many_are_asked_in_one_query(django_assert_num_queries: Any) -> None:
    ties = Ties("own dam")
    tied, free = [ties.waiting() for _ in range(3)], [make_accepted(ties.club).evaluation]

    with django_assert_num_queries(1):
        found = ties_of(ties.person.actor, [each.pk for each in (*tied, *free)])

    assert set(found) == {each.pk for each in tied}


class TestQueue:
    def test_what_is_not_theirs_cannot_be_chosen_and_says_so(self) -> None:
        ties = Ties("own litter mate")
        tied, free = ties.waiting(), make_submitted(ties.club, owner=STRANGER)
        page = faces_of(ties).page

        shown = page.get("/registrar/").content.decode()
        asked = page.post(
            reverse("registrar:approve-together"), {"chosen": [tied.public_id, free.public_id]}
        ).content.decode()

        assert f'name="chosen" value="{free.public_id}"' in shown
        assert f'name="chosen" value="{tied.public_id}"' not in shown
        assert "Not yours to decide" in shown
        assert f'name="chosen" value="{tied.public_id}"' not in asked
        assert "These are for another registrar to decide" in asked


class TestTheTieItself:
    """By a correction of parents or of a day of birth a tie would be gone, and the way be free."""

    @pytest.mark.parametrize(
        "changes", [{"sire": ""}, {"born_on": date(2023, 1, 16)}, {"sex": "M"}]
    )
    @pytest.mark.parametrize("role", [Role.REGISTRAR, Role.SECRETARY])
    def test_nobody_takes_their_own_away(self, role: Role, changes: dict[str, Any]) -> None:
        club = make_club()
        person = make_person(role, by=club.secretary.actor)
        sire = make_dog(club, sex="M", born_on=date(2019, 1, 1))
        make_submitted(club, sire, owner=own(person))
        dog = make_dog(club, sire=sire.public_id)

        with pytest.raises(Refused, match="Somebody else has to"):
            correct_dog(
                by=person.actor,
                dog_id=dog.public_id,
                version=dog.version,
                facts=replace(facts_of(dog), **changes),
                reason="it was entered wrongly",
            )

        dog.refresh_from_db()
        assert (dog.sire, dog.born_on, dog.sex) == (sire, date(2023, 1, 15), "F")

    def test_what_no_tie_hangs_on_can_be_put_right(self) -> None:
        club = make_club()
        sire = make_dog(club, sex="M", born_on=date(2019, 1, 1))
        make_submitted(club, sire, owner=own(club.registrar))
        dog = make_dog(club, sire=sire.public_id)

        changed = correct_dog(
            by=club.registrar.actor,
            dog_id=dog.public_id,
            version=dog.version,
            facts=replace(facts_of(dog), colour="black"),
            reason="the puppy coat is gone",
        )

        assert changed.colour == "black"

    def test_the_page_says_so(self, client: Client) -> None:
        club = make_club()
        client.force_login(club.registrar.user)
        dog = make_dog(club)
        make_submitted(club, dog, owner=own(club.registrar))

        answer = client.post(
            f"/registrar/dogs/{dog.public_id}/correct/",
            {
                "name": dog.name,
                "breed": club.breed.slug,
                "sex": "F",
                "born_on": "2023-01-16",
                "chip": dog.chip,
                "version": dog.version,
                "reason": "it was entered wrongly",
            },
        )

        assert answer.status_code == 409
        assert "Somebody else has to change" in answer.content.decode()


def facts_of(dog: Dog) -> DogFacts:
    return DogFacts(
        breed=dog.breed.slug,
        name=dog.name,
        sex=dog.sex,
        born_on=dog.born_on,
        chip=dog.chip or "",
        colour=dog.colour,
        sire=dog.sire.public_id if dog.sire else "",
    )
